//! Scans: headers that claim what is not there, numbers that are none, ends that come too soon.

use super::{Bad, bad};

const CHECK: &[&str] = &["check", "BAD", "--map", "map.svg"];

pub fn rows() -> Vec<Bad> {
    [las(), ply(), pcd(), text(), xml(), e57()]
        .into_iter()
        .flatten()
        .collect()
}

/// A LAS 1.2 file of ten points with these bytes set in its header.
fn las_with(at: usize, bytes: &[u8]) -> Vec<u8> {
    let mut header = vec![0; 227];
    let mut set = |at: usize, bytes: &[u8]| header[at..at + bytes.len()].copy_from_slice(bytes);
    set(0, b"LASF");
    set(24, &[1, 2]);
    set(94, &227u16.to_le_bytes());
    set(96, &227u32.to_le_bytes());
    set(105, &20u16.to_le_bytes());
    set(107, &10u32.to_le_bytes());
    for axis in 0..3 {
        set(131 + 8 * axis, &0.001f64.to_le_bytes());
    }
    set(at, bytes);
    header.resize(227 + 10 * 20, 0);
    header
}

fn las() -> Vec<Bad> {
    let las =
        |at, bytes: &[u8], place, remedy| bad(CHECK, "bad.las", las_with(at, bytes), place, remedy);
    let mut cut = las_with(0, b"LASF");
    cut.truncate(100);
    let laz = include_bytes!("../../sample-surveys/loom-workshop/scan.laz");
    let half = &laz[..laz.len() / 2];
    vec![
        bad(CHECK, "bad.las", cut, "", "a LAS header"),
        bad(CHECK, "bad.laz", half, "", "cut short or damaged"),
        las(
            107,
            &u32::MAX.to_le_bytes(),
            ", record 11",
            "4294967295 records, as its header says",
        ),
        las(
            96,
            &0xffff_fff0u32.to_le_bytes(),
            ", record 1",
            "10 records, as its header says",
        ),
        las(105, &[0, 0], "", "at least 20 bytes"),
        las(
            105,
            &[255, 255],
            ", record 1",
            "10 records, as its header says",
        ),
        las(104, &[99], "", "a point format of 0 to 10"),
        las(104, &[128], "", "a LAZ file"),
        las(131, &f64::NAN.to_le_bytes(), "", "scales of 1e-9 to 1000"),
        las(131, &0f64.to_le_bytes(), "", "scales of 1e-9 to 1000"),
        las(147, &1e300f64.to_le_bytes(), "", "scales of 1e-9 to 1000"),
        las(147, &1e-12f64.to_le_bytes(), "", "scales of 1e-9 to 1000"),
        las(155, &f64::INFINITY.to_le_bytes(), "", "finite offsets"),
        las(155, &1e9f64.to_le_bytes(), "", "within 10,000 km"),
        las(0, b"LASF", "", "a room"),
    ]
}

fn ply() -> Vec<Bad> {
    let ply = |text: &str, place, remedy| bad(CHECK, "bad.ply", text, place, remedy);
    let xyz = "property float x\nproperty float y\nproperty float z\nend_header\n";
    let header = |format: &str, count: &str, rest: &str| {
        format!("ply\nformat {format} 1.0\nelement vertex {count}\n{xyz}{rest}")
    };
    vec![
        ply("ply\n", ", line 1", "end_header"),
        ply(
            &format!("ply\n{}", "comment x\n".repeat(200_000)),
            ", line 200001",
            "end_header",
        ),
        ply(
            &header("ascii", "999999999999", "0 0 0\n"),
            ", record 2",
            "as its header says",
        ),
        ply(
            &header("binary_little_endian", "999999999999", "0 0 0\n"),
            ", record 1",
            "as its header says",
        ),
        ply(
            &header("ascii", "-5", "0 0 0\n"),
            ", line 3",
            "a PLY 1.0 header",
        ),
        ply(&header("ebcdic", "1", ""), ", line 2", "a PLY 1.0 header"),
        ply(
            "ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nend_header\n0\n",
            ", line 5",
            "with x, y and z",
        ),
        ply(
            &format!(
                "ply\nformat binary_little_endian 1.0\nelement face 4000000000\nproperty list uint uint i\nelement vertex 1\n{xyz}\x7f\x7f\x7f\x7f"
            ),
            ", record 1",
            "as its header says",
        ),
    ]
}

fn pcd() -> Vec<Bad> {
    let pcd = |count: &str, points: &str, data: &str, place, remedy| {
        let text = format!(
            "VERSION 0.7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 {count}\nWIDTH {points}\nHEIGHT 1\n\
             POINTS {points}\nDATA {data}"
        );
        bad(CHECK, "bad.pcd", text, place, remedy)
    };
    vec![
        pcd(
            "1",
            "99999999999",
            "binary\n",
            ", record 1",
            "99999999999 points, as its header says",
        ),
        pcd(
            "1",
            "100000000",
            "binary_compressed\n\x05\0\0\0\0\x0c\x7f\x47hello",
            "",
            "as its header says",
        ),
        pcd(
            "4000000000",
            "1",
            "binary\n",
            ", line 9",
            "fields x, y and z",
        ),
        pcd(
            "1",
            "2",
            "ascii\n0 0 0\n",
            ", line 10",
            "as its header says",
        ),
    ]
}

fn text() -> Vec<Bad> {
    let upright = "0 0 0\n1 0 0\n0 1 0\n0 0 1\n1 0 0 0\n0 1 0 0\n0 0 1 0\n0 0 0 1\n";
    // So many points that two passes over them are more than can be counted.
    let endless = format!("9999999999\n9999999999\n{upright}0 0 0 0.5\n");
    vec![
        bad(CHECK, "bad.ptx", endless, "", "finite coordinates"),
        bad(
            CHECK,
            "bad.ptx",
            format!("1\n1\n{}", upright.replace('1', "nan")),
            ", line 4",
            "3 finite numbers",
        ),
        bad(
            CHECK,
            "bad.ptx",
            "1\n1\n0 0 0\n1 0 0\n0 1 0\n0 0 1\n",
            "",
            "--format",
        ),
        bad(
            CHECK,
            "bad.pts",
            "99999999999\n0 0 0 1\n",
            ", line 2",
            "99999999998 more points",
        ),
        bad(
            CHECK,
            "bad.pts",
            "5\n0 0 0 1 1 1 1\n",
            ", line 2",
            "4 more points",
        ),
        bad(
            &["check", "BAD", "--format", "xyz"],
            "bad.xyz",
            "0 0 0\n1 1 abc\n",
            ", line 2",
            "a point: x y z",
        ),
        bad(
            &["check", "BAD", "--format", "xyz"],
            "bad.xyz",
            format!("0 0 0\n0 0 {}\n", "1".repeat(100_000)),
            ", line 2",
            "lines of points",
        ),
    ]
}

fn xml() -> Vec<Bad> {
    let xml = |unit: &str, points: &str, place, remedy| {
        let text = format!(
            "<?xml version=\"1.0\"?><!DOCTYPE l [<!ENTITY a \"aaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;\">]>\
             <LandXML version=\"1.2\"><Units><Metric linearUnit=\"{unit}\"/></Units><CgPoints>{points}"
        );
        bad(CHECK, "bad.xml", text, place, remedy)
    };
    vec![
        xml("furlong", "", "", "linearUnit meter"),
        xml(
            "meter",
            "<CgPoint>1 2",
            ", record 1",
            "northing, easting and height",
        ),
        xml(
            "meter",
            "<CgPoint>1 2 x</CgPoint>",
            ", record 1",
            "northing, easting and height",
        ),
        xml(
            "meter",
            "<CgPoint>&b; 2 3</CgPoint>",
            "",
            "finite coordinates",
        ),
        xml(
            "meter",
            &"<CgPoints>".repeat(100_000),
            "",
            "finite coordinates",
        ),
        xml(
            "meter",
            &format!("<CgPoint>{}", "1".repeat(20 << 20)),
            ", record 2",
            "the points of a floor",
        ),
        bad(
            CHECK,
            "bad.xml",
            "<LandXML version=\"1.2\"></LandXML>",
            "",
            "a Units element",
        ),
    ]
}

fn e57() -> Vec<Bad> {
    let mut header = b"ASTM-E57".to_vec();
    header.extend([1, 0, 0, 0, 0, 0, 0, 0]);
    let mut cut = header.clone();
    cut.resize(2000, 0);
    let mut far = header.clone();
    // The file's length, where its XML lies, and the XML's length: all beyond the end.
    far.extend([0xff; 24]);
    far.extend(1024u64.to_le_bytes());
    far.resize(1024, 0);
    let mut much = header.clone();
    much.resize(32, 0);
    much.extend(u64::MAX.to_le_bytes());
    vec![
        bad(CHECK, "bad.e57", header, "", "an undamaged E57 file"),
        bad(CHECK, "bad.e57", cut, "", "an undamaged E57 file"),
        bad(CHECK, "bad.e57", far, "", "an undamaged E57 file"),
        bad(CHECK, "bad.e57", much, "", "an undamaged E57 file"),
    ]
}
