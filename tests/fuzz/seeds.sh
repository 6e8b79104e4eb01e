#!/usr/bin/env bash
# Fills tests/fuzz/corpus with small files to start from: one folder a target. Needs nothing but the repository; takes the
# shared real scans too where they lie beside it. Run it from anywhere, before the first `cargo fuzz run`.
set -euo pipefail
cd "$(dirname "$0")"
samples=../../sample-surveys
data=../../../shared/data

# seed TARGET NAME < text
seed() { mkdir -p "corpus/$1" && cat > "corpus/$1/$2"; }
# take TARGET FILE...: those of at most 40 kB
take() {
    local target=$1 file
    shift
    mkdir -p "corpus/$target"
    for file in "$@"; do
        if [[ -f $file && $(wc -c < "$file") -le 40000 ]]; then
            cp -L "$file" "corpus/$target/$(tr / - <<< "${file#../../}" | tr -d .)"
        fi
    done
}

scans=$(mktemp -d)
trap 'rm -rf "$scans"' EXIT
cargo run --quiet --manifest-path ../../Cargo.toml --example make-large -- "$scans" 40
for format in las laz e57 ply pcd xyz pts ptx; do
    take "$format" "$scans"/hall.$format "$data"/$format/*/*.$format "$data"/cross-format/*/*.$format
done
take copc "$scans"/hall.laz "$data"/copc/*/*.laz
take laz "$data"/las/*/*.laz "$data"/copc/*/*.laz
take xyz "$data"/xyz/*/*.txt

seed pcd compressed < <(printf 'VERSION 0.7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\nWIDTH 1\nHEIGHT 1\nPOINTS 1\nDATA binary_compressed\n\x0e\x00\x00\x00\x0c\x00\x00\x00\x0bABCDEFGHIJKL')
seed ply ascii <<< $'ply\nformat ascii 1.0\nelement vertex 2\nproperty float x\nproperty float y\nproperty float z\nproperty list uchar int n\nend_header\n0 0 0 1 5\n1 1 0.5 0'
seed landxml points <<'XML'
<?xml version="1.0"?>
<LandXML version="1.2"><Units><Metric linearUnit="meter"/></Units>
<CgPoints><CgPoint name="1">10.0 20.0 0.5</CgPoint><CgPoint name="2">11.0 20.0 0.502</CgPoint></CgPoints>
<Surfaces><Surface name="s"><Definition surfType="TIN"><Pnts><P id="1">1 2 3</P><P id="2">2 2 3</P></Pnts>
<Faces><F>1 2 1</F></Faces></Definition></Surface></Surfaces></LandXML>
XML
seed ptx two <<< $'1\n2\n0 0 0\n1 0 0\n0 1 0\n0 0 1\n1 0 0 0\n0 1 0 0\n0 0 1 0\n0 0 0 1\n0 0 0 0.5\n1 2 3 0.5 1 2 3'
seed pts counted <<< $'2\n0 0 0 1 1 1 1\n1 1 0.5 1 1 1 1'
seed xyz headed <<< $'x_m y_m z_m\n0 0 0.001\n1 0 0.002'

for target in list grid profile book straightedge two_peg places poured check; do
    take "$target" "$samples"/*/survey.csv
done
take poured "$samples"/*/poured.csv
take outline "$samples"/*/outline.csv
take job "$samples"/*/job.toml
take sheet "$samples"/*/*.toml
take check "$samples"/*/kitchen*.csv

seed list setups <<< $'setup,point,x_m,y_m,staff_mm,sight_m\nA,1,0,0,1200,5\nA,2,1,0,1201,5\nA,3,0,1,1202,5\nB,2,1,0,1301,6\nB,3,0,1,1302,6\nB,4,1,1,1303,6'
seed list heights <<< $'point;x;y;z_mm\n1;0,0;0,0;1,5\n2;0,5;0,0;2,5\n3;0,5;0,5;2,0'
seed grid small <<< $'staff_mm,0,0.5,1.0\n0,1200,1201,1202\n0.5,1203,,1205\n1.0,1200,1201,1199'
seed grid feet <<< $'z_in\t0\t1\n0\t1/8\t0.25\n1\t0\t-0.125'
seed profile stations <<< $'line,station_m,z_mm\nA,0,1\nA,0.3,2\nA,0.6,1\nA,0.9,0'
seed profile places <<< $'line,x_m,y_m,staff_mm\nA,0,0,1\nA,0.3,0,2\nA,0.6,0,1\nB,0,1,1\nB,0.3,1,2\nB,0.6,1,1'
seed book reduced <<< $'point,bs_m,is_m,fs_m,rl_m,x,y\nBM,1.250,,,100.000,,\n1,,1.300,,99.950,0,0\n2,,1.310,,99.940,1,0\nCP,1.400,,1.350,99.900,0,1\nBM,,,1.300,100.000,,'
seed book sights <<< $'point,bs_m,is_m,fs_m,rl_m,known_m,bs_sight_m,is_sight_m,fs_sight_m,x,y\nBM,1.250,,,100.000,,10,,,,\n1,,1.300,,,,,8,,0,0\nBM,,,1.250,,100.000,,,10,,'
seed straightedge edges <<< $'point,x_m,y_m,azimuth_deg,length_m,along_m,gap_mm\n1,1,1,90,2,1,3.5\n2,2,1,0,2,,0'
seed two_peg test <<< $'setup,point,staff_mm,sight_m\nmid,A,1500,30\nmid,B,1400,30\nend,A,1602,2\nend,B,1500,62'
seed places pins <<< $'point,x_m,y_m\nP1,0.5,0.5\nP2,1.0,1.5'
seed poured depths <<< $'batch,bags,point,depth_mm\n1,2,A,5\n,,B,6'
seed outline geojson <<< '{"type":"Feature","geometry":{"type":"Polygon","coordinates":[[[0,0],[4,0],[4,3],[0,3],[0,0]],[[1,1],[2,1],[2,2],[1,1]]]}}'
seed outline holes <<< $'x_m,y_mm,ring\n0,0,wall\n4,0,wall\n4,3000,wall\n0,3000,wall\n1,1000,c\n2,1000,c\n2,1500,c'
seed classes hall <<'TOML'
[[class]]
name = "hall"
standard = "contract, clause 4"

[[class.requirement]]
measure = "straightedge"
length = "10 ft"
limit = "1/8 in"

[[class.requirement]]
measure = "by-distance"
limits = ["2 mm at 0.1 m", "4 mm at 1 m"]
whole_mm = true
TOML
n=0
for quantity in 2m '3 mm' 1/8in '2 1/2in' 10ft '6ft 7 1/2in' 3m2 40ft2 '40 sq ft' 3m² 30l 0.5ft3 5gal 25kg 50lb 2.0kg/l \
    125lb/ft3 20min 1day 5% 0.05 0.05mm/m 1mm/20m 1/16in/100ft 1:80 '31.00 EUR' '25 EUR/m2' '4 EUR/l'; do
    n=$((n + 1))
    seed quantities $n < <(printf %s "$quantity")
done
