//! Files of readings: lists, grids, profile lines, books, and those on the way: two-peg tests, pins, what is poured.

use super::{Bad, bad};

const CHECK: &[&str] = &["check", "BAD", "--map", "map.svg"];
const LEVEL: &[&str] = &["level-check", "BAD"];
const PINS: &[&str] = &[
    "pour",
    "survey.csv",
    "--compound",
    "compound.toml",
    "--pins",
    "BAD",
    "--map",
    "map.svg",
];
const POURED: &[&str] = &[
    "pour",
    "survey.csv",
    "--compound",
    "compound.toml",
    "--exit",
    "0,0",
    "--poured",
    "BAD",
];

pub fn rows() -> Vec<Bad> {
    [no_text(), lists(), limits(), grids(), books(), others()]
        .into_iter()
        .flatten()
        .collect()
}

fn check(text: impl Into<Vec<u8>>, place: &'static str, remedy: &'static str) -> Bad {
    bad(CHECK, "bad.csv", text, place, remedy)
}

fn no_text() -> Vec<Bad> {
    let noise: Vec<u8> = (0..5000u32).map(|n| ((n * 7919) >> 3) as u8).collect();
    vec![
        check("", "", "--format"),
        check("\u{feff}", "", "--format"),
        check("   \n\n\t\n", "", "--format"),
        check([0; 1000], "", "--format"),
        check(noise, "", "--format"),
        check("Dear Sir,\nplease find enclosed\n", "", "--format"),
        check(
            "<!doctype html><html><body>404</body></html>",
            "",
            "--format",
        ),
        check("%PDF-1.7\n%\u{e2}\u{e3}", "", "--format"),
        check(*b"PK\x03\x04\x14\0\0\0\x08\0", "", "--format"),
        check(
            *b"x_m,y_m,z_mm,remark\n0,0,1,T\xfcr\n",
            ", line 2",
            "CSV UTF-8",
        ),
    ]
}

fn lists() -> Vec<Bad> {
    let list = |rows: &str| format!("x_m,y_m,z_mm\n{rows}\n");
    vec![
        check(list(""), "", "at least one row"),
        check(list("0,0,12o4"), ", line 2, column z_mm", "a number"),
        check(list("0,0"), ", line 2", "3, as the header row has"),
        check(list("0,0,1,2"), ", line 2", "3, as the header row has"),
        check(list("0,0,nan"), ", line 2, column z_mm", "a number"),
        check(list("0,-inf,1"), ", line 2, column y_m", "a number"),
        check(list("0,0,1e400"), ", line 2, column z_mm", "a number"),
        check(list("0,0,\"1,234\""), ", line 2, column z_mm", "semicolons"),
        check(list("0,0,\"1\n1,1,1"), ", line 2", "closing quotation mark"),
        check(list("0,0,\u{1b}[2J"), ", line 2, column 5", "text"),
        check(
            "x_m;y_m;z_mm\n0,5;0;1.5\n",
            ", line 2, column z_mm",
            "one decimal mark",
        ),
        check("x,y,z\n0,0,1\n", ", line 1, column z", "--units mm"),
        check("x_m,y_m,z_furlong\n0,0,1\n", ", line 1", "with its unit"),
        check(
            "x_m,y_m,z_mm,z_mm\n0,0,1,2\n",
            ", line 1, column z_mm",
            "one of them only",
        ),
        check(
            "x_m,y_m,staff_mm\n0,0,-5\n",
            ", line 2, column staff_mm",
            "call the column height",
        ),
        check(list("0,0,1\n1,1,2"), "", "readings at three places"),
        check(list("0,0,1\n0,0,1\n0,0,1"), "", "readings at three places"),
        check(
            list("0,0,1\n1,1,2\n2,2,3\n3,3,2"),
            "",
            "spread over the floor",
        ),
        check(
            "setup,x_m,y_m,staff_mm\nA,0,0,1200\nA,1,0,1200\nB,0,5,1200\nB,5,5,1200\n",
            "",
            "at least one point read from both",
        ),
    ]
}

/// What is too large, too small, too far or too much.
fn limits() -> Vec<Bad> {
    let list = |rows: &str| format!("x_m,y_m,z_mm\n{rows}\n");
    let wide = (0..20_000).map(|n| format!(",{n}")).collect::<String>();
    vec![
        check(
            list("0,0,1\n4000,0,2\n0,3000,3\n4000,3000,4"),
            "",
            "as in x_mm, y_mm",
        ),
        check(
            "x_m,y_m,z_m\n0,0,1204\n4,0,1219\n0,3,1206\n",
            "",
            "as in z_mm",
        ),
        check(
            "x_mm,y_mm,z_mm\n0,0,1\n4,0,2\n0,3,3\n4,3,4\n",
            "",
            "as in x_m, y_m",
        ),
        check(
            list("0,0,1\n1e-12,0,1\n0,1e-12,1\n1e-12,1e-12,1"),
            "",
            "as in x_m, y_m",
        ),
        check(list("1e9,0,1"), ", line 2, column x_m", "within 10,000 km"),
        check(
            list("0,-1e308,1"),
            ", line 2, column y_m",
            "within 10,000 km",
        ),
        check(
            list("0,0,1e308"),
            ", line 2, column z_mm",
            "within 10,000 km",
        ),
        check(
            list(&format!("0,0,{}", "1".repeat(3_000_000))),
            ", line 2",
            "lines of readings",
        ),
        check(
            list(&format!("0,0,1{}", ",".repeat(20_000))),
            ", line 2",
            "10000",
        ),
        check(
            list(&"0,0,1\n".repeat(1_000_001)),
            ", line 1000002",
            "fewer of them",
        ),
        check(list(&"0,0,1\n".repeat(3_000_000)), "", "a smaller file"),
        bad(
            &["check", "BAD", "--format", "grid"],
            "bad.csv",
            format!("staff_mm{wide}\n0{}\n", ",1".repeat(20_000)),
            ", line 1",
            "10000",
        ),
    ]
}

fn grids() -> Vec<Bad> {
    vec![
        check(
            "staff_mm,0,1\n0,1,2\n1,1\n",
            ", line 3",
            "3, as the header row has",
        ),
        check(
            "staff_mm,0,0\n0,1,2\n1,1,3\n",
            ", line 1, column 0",
            "each distance once",
        ),
        check(
            "staff_mm,0,1\n0,1,2\n0,1,3\n",
            ", line 3, column staff_mm",
            "each distance once",
        ),
        check(
            "staff_mm,0,1\n0,1,2\n1,1,abc\n",
            ", line 3, column 1",
            "a number",
        ),
        check(
            "staff,0,1\n0,1,2\n1,1,2\n",
            ", line 1, column staff",
            "--units mm",
        ),
        check(
            "staff_mm,0,1e12\n0,1,2\n1,1,2\n",
            ", line 1, column 1e12",
            "within 10,000 km",
        ),
    ]
}

fn books() -> Vec<Bad> {
    vec![
        check(
            "line,station_m,z_mm\nA,0,1\n",
            ", line 2",
            "at least three readings",
        ),
        check(
            "line,station_m,z_mm\nA,0,1\nA,0.3,2\nA,0.9,1\n",
            ", line 3",
            "within a tenth of the pitch",
        ),
        check(
            "point,bs_m,is_m,fs_m,rl_m,x,y\nBM,1.250,,,100,,\n1,,1.300,,,0,0\n",
            ", line 3",
            "a fore sight alone on the last row",
        ),
        check(
            "point,bs_m,is_m,fs_m,rl_m,x,y\nBM,1.250,,,100,,\n1,,1.300,,99.0,0,0\nBM,,,1.25,100,,\n",
            ", line 3, column rl_m",
            "99.95, or the reading mended",
        ),
        check(
            "point,bs_m,fs_m,x,y\nBM,1.250,,,\n",
            "",
            "a back sight and a fore sight",
        ),
        check(
            "x_m,y_m,azimuth_deg,length_m,gap_mm\n1,1,90,2,-3\n",
            ", line 2, column gap_mm",
            "0 or more",
        ),
        check(
            "x_m,y_m,azimuth_deg,length_m,gap_mm\n1,1,90,2000,3\n",
            ", line 2, column length_m",
            "up to 100 m",
        ),
        check(
            "x_m,y_m,azimuth_deg,length_m,gap_mm\n1,1,900,2,3\n",
            ", line 2, column azimuth_deg",
            "0 to 360",
        ),
        check(
            "x_m,y_m,azimuth_deg,length_m,gap_m\n1,1,90,2,3\n",
            ", line 2, column gap_m",
            "smaller than the edge",
        ),
    ]
}

fn others() -> Vec<Bad> {
    let level = |text: &str, place, remedy| bad(LEVEL, "bad.csv", text, place, remedy);
    let pins = |text: &str, place, remedy| bad(PINS, "bad.csv", text, place, remedy);
    let poured = |text: &str, place, remedy| bad(POURED, "bad.csv", text, place, remedy);
    vec![
        level("", "", "a header row"),
        level("x,y\n1,2\n", ", line 1", "a column setup"),
        level(
            "setup,point,staff_mm,sight_m\nmid,A,1500,30\n",
            "",
            "four rows",
        ),
        level(
            "setup,point,staff_mm,sight_m\nmid,A,1500,-30\nmid,B,1400,30\nend,A,1602,2\nend,B,1500,62\n",
            ", line 2, column sight_m",
            "0 or more",
        ),
        level(
            "setup,point,staff_mm,sight_m\nmid,A,1500,30\nmid,B,1400,30\nend,A,1602,30\nend,B,1500,30\n",
            "",
            "one set-up midway",
        ),
        pins("", "", "a header row"),
        pins("x_m,y_m\na,b\n", ", line 2, column x_m", "a number"),
        pins(
            "x_m,y_m\n1e9,0\n",
            ", line 2, column x_m",
            "within 10,000 km",
        ),
        bad(
            PINS,
            "bad.csv",
            format!("x_m,y_m\n{}", "1,1\n".repeat(30_000)),
            ", line 20002",
            "fewer of them",
        ),
        poured("", "", "a header row"),
        poured("batch,bags\n0,1\n", ", line 2, column batch", "from 1"),
        poured(
            "batch,bags\n99999999999999999999999,1\n",
            ", line 2, column batch",
            "from 1",
        ),
        poured("batch,bags\n1,-1\n", ", line 2, column bags", "more than 0"),
        poured(
            "batch,bags,depth_mm\n1,1,5\n",
            ", line 2, column depth_mm",
            "a point, or x and y",
        ),
    ]
}
