//! The local web page over real HTTP on the loopback: the command line's numbers, what is refused, who sees what, how it ends.

#[path = "page/browser.rs"]
mod browser;

use std::fs;
use std::path::Path;
use std::process::Command;

use browser::{Answer, Server};
use serde_json::{Value, json};

const KITCHEN: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/sample-surveys/weavers-kitchen"
);
const WORKSHOP: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-surveys/loom-workshop");

fn read(folder: &str, name: &str) -> String {
    fs::read_to_string(Path::new(folder).join(name)).unwrap()
}

/// What the command line prints with `--json`.
fn command_line(folder: &str, args: &[&str]) -> Value {
    let output = Command::new(env!("CARGO_BIN_EXE_lowspot"))
        .args(args)
        .arg("--json")
        .current_dir(folder)
        .output()
        .unwrap();
    serde_json::from_slice(&output.stdout).unwrap()
}

fn kitchen(more: &Value) -> Value {
    let mut form = json!({
        "survey": {"typed": read(KITCHEN, "survey.csv")},
        "sheets": [read(KITCHEN, "compound.toml")],
        "heading": {"job": "Kitchen"},
        "floor": {"name": "Kitchen", "class": ["SR2"]},
    });
    for (key, value) in more.as_object().unwrap() {
        match (
            form.get_mut(key).and_then(Value::as_object_mut),
            value.as_object(),
        ) {
            (Some(old), Some(new)) if key == "floor" => old.extend(new.clone()),
            _ => {
                form[key] = value.clone();
            }
        }
    }
    form
}

fn problems(answer: &Value) -> String {
    answer["problems"].to_string()
}

#[test]
fn typed_readings_get_the_command_lines_numbers() {
    let server = Server::start(&[]);
    let room = server.enter();
    let answer = room.ask(&kitchen(&json!({"floor": {"exit": ["3.4 m", "1.0 m"]}})));
    assert_eq!(answer["problems"], json!([]));
    assert_eq!(answer["staff"], true);
    let check = command_line(KITCHEN, &["check", "survey.csv", "--class", "SR2"]);
    assert_eq!(answer["check"], check);
    let sheet = [
        "--compound",
        "compound.toml",
        "--class",
        "SR2",
        "--exit",
        "3.4,1.0",
    ];
    let pour = command_line(KITCHEN, &[&["pour", "survey.csv"], &sheet[..]].concat());
    let floor = &answer["pour"]["floors"][0];
    for (key, value) in pour.as_object().unwrap() {
        assert_eq!(&floor[key], value, "{key}");
    }
    assert!(
        floor["batches"]
            .as_array()
            .is_some_and(|batches| !batches.is_empty())
    );
    assert!(answer["check_map"].as_str().unwrap().starts_with("<svg"));
    assert!(answer["pour_map"].as_str().unwrap().contains("data-plan="));
}

#[test]
fn a_floor_after_its_pour_is_compared_as_on_the_command_line() {
    let server = Server::start(&[]);
    let mark = json!({"before": "1187 mm", "after": "1187 mm"});
    let more = json!({
        "after": {"typed": read(KITCHEN, "after.csv")},
        "floor": {"benchmark": mark, "bags_used": [5.0], "u": "0.5 mm"},
    });
    let answer = server.enter().ask(&kitchen(&more));
    let marks = [
        "--benchmark-before",
        "1187mm",
        "--benchmark-after",
        "1187mm",
    ];
    let asked = [
        "compare",
        "survey.csv",
        "after.csv",
        "--class",
        "SR2",
        "--u",
        "0.5mm",
    ];
    let bags = ["--compound", "compound.toml", "--bags-used", "5"];
    let wanted = command_line(KITCHEN, &[&asked[..], &marks, &bags].concat());
    assert_eq!(answer["compare"], wanted);
    assert!(answer["compare_map"].is_string());
}

/// What is down plans the rest as `--poured` does; what is down beyond the plan is told and hides nothing else.
#[test]
fn the_rest_is_planned_as_on_the_command_line() {
    let server = Server::start(&[]);
    let room = server.enter();
    let down = read(KITCHEN, "poured.csv");
    let exit = json!({"exit": ["0 m", "0.6 m"], "vessel": "20 l"});
    let answer = room.ask(&kitchen(&json!({"down": down, "bags": 5, "floor": exit})));
    let args = "pour survey.csv --compound compound.toml --class SR2 --exit 0,0.6 --vessel 20l --poured poured.csv --bags 5";
    let args: Vec<_> = args.split(' ').collect();
    assert_eq!(answer["rest"], command_line(KITCHEN, &args)["rest"]);
    assert!(answer["rest"]["batches"][0]["bags"].is_number());

    let wrong = room.ask(&kitchen(&json!({"down": "batch\n99\n", "floor": exit})));
    assert_eq!(wrong["problems"][0]["about"], "down");
    assert!(
        problems(&wrong).contains("down.csv"),
        "{}",
        problems(&wrong)
    );
    assert!(wrong["pour"].is_object() && wrong["rest"].is_null());
}

/// The archive holds what `handover` writes of the same files and settings, and is the same twice.
#[test]
fn the_handover_is_that_of_the_command_line() {
    let server = Server::start(&[]);
    let room = server.enter();
    let form = kitchen(&json!({"floor": {"exit": ["0 m", "0.6 m"]}}));
    let kind = [("content-type", "application/json")];
    let fetch = || {
        let answer = room.post("/handover", &form.to_string(), &kind);
        assert_eq!(answer.status, 200, "{}", answer.text());
        answer.bytes().to_vec()
    };
    let archive = fetch();
    assert!(archive == fetch(), "the same form gives the same bytes");

    let folder = tempfile::tempdir().unwrap();
    for (file, of) in [
        ("survey.csv", "survey.csv"),
        ("compound-1.toml", "compound.toml"),
    ] {
        fs::write(folder.path().join(file), read(KITCHEN, of)).unwrap();
    }
    let mut zip = zip::ZipArchive::new(std::io::Cursor::new(archive)).unwrap();
    let mut file = |name: &str| {
        let mut bytes = Vec::new();
        std::io::Read::read_to_end(&mut zip.by_name(name).unwrap(), &mut bytes).unwrap();
        bytes
    };
    let job = "job = \"Kitchen\"\n[[floor]]\nname = \"Kitchen\"\nsurvey = \"survey.csv\"\ncompound = \"compound-1.toml\"\n\
               class = \"SR2\"\nexit = [\"0 m\", \"0.6 m\"]\n";
    fs::write(folder.path().join("job.toml"), job).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_lowspot"))
        .args(["handover", "job.toml", "--out", "out"])
        .current_dir(folder.path())
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    for name in ["kitchen-pins.csv", "kitchen-depths.svg", "kitchen-pins.dxf"] {
        let written = fs::read(folder.path().join("out").join(name)).unwrap();
        assert!(file(name) == written, "{name}");
    }
    let result: Value = serde_json::from_slice(&file("handover.json")).unwrap();
    let written = fs::read(folder.path().join("out/handover.json")).unwrap();
    let written: Value = serde_json::from_slice(&written).unwrap();
    assert_eq!(result["floors"], written["floors"]);

    let refused = room.post(
        "/handover",
        &kitchen(&json!({"sheets": ["name = 1"]})).to_string(),
        &kind,
    );
    assert_eq!(refused.status, 422);
    assert!(refused.text().contains("compound-1.toml") && !refused.text().contains("/room-"));
}

/// The depth at a pin is that of the table; between pins it is asked for, and off the floor there is none.
#[test]
fn the_depth_is_told_where_one_taps() {
    let server = Server::start(&[]);
    let answer = server.enter().ask(&kitchen(
        &json!({"places": [[1.0, 1.4], [9.0, 9.0], [1.1, 1.3]]}),
    ));
    let pins = answer["pour"]["floors"][0]["pins"]
        .as_array()
        .unwrap()
        .clone();
    let pin = pins
        .iter()
        .find(|pin| pin["x_m"] == 1.0 && pin["y_m"] == 1.4)
        .unwrap();
    assert_eq!(answer["places"][0]["depth_mm"], pin["depth_mm"]);
    assert_eq!(answer["places"][1]["depth_mm"], Value::Null);
    assert!(
        answer["places"][2]["depth_mm"]
            .as_f64()
            .is_some_and(|depth| depth > 0.0)
    );
}

#[test]
fn a_scan_that_is_sent_gets_the_command_lines_numbers() {
    let server = Server::start(&[]);
    let room = server.enter();
    let number = room.upload(
        "scan.laz",
        &fs::read(format!("{WORKSHOP}/scan.laz")).unwrap(),
    );
    let form = json!({"survey": {"files": [number]}, "heading": {"job": "Hall"}, "floor": {"name": "Hall"}});
    let answer = room.ask(&form);
    assert_eq!(
        answer["check"],
        command_line(WORKSHOP, &["check", "scan.laz"]),
        "{}",
        problems(&answer)
    );
}

#[test]
fn a_misprint_in_the_sheet_does_not_hide_the_floor() {
    let server = Server::start(&[]);
    let answer = server
        .enter()
        .ask(&kitchen(&json!({"sheets": ["name = 3"]})));
    assert_eq!(answer["pour"], Value::Null);
    assert!(answer["check"].is_object());
    assert_eq!(answer["problems"][0]["about"], "pour");
    let typed = json!({"typed": "staff_mm,0,1\n0,12o4,1\n1,1,1\n"});
    let answer = server.enter().ask(&kitchen(&json!({"survey": typed})));
    let problem = &answer["problems"][0];
    assert_eq!(
        (&problem["file"], &problem["line"]),
        (&json!("survey.csv"), &json!(2))
    );
    assert_eq!(problem["about"], "survey");
}

#[test]
fn nobody_sees_the_floor_of_another() {
    let server = Server::start(&[]);
    let (one, other) = (server.enter(), server.enter());
    assert_ne!(one.cookie, other.cookie);
    let number = one.upload("a.csv", read(KITCHEN, "survey.csv").as_bytes());
    let form =
        json!({"survey": {"files": [number]}, "heading": {"job": "a"}, "floor": {"name": "a"}});
    assert!(one.ask(&form)["check"].is_object());
    assert!(problems(&other.ask(&form)).contains("is not here"));
    assert_eq!(one.post("/forget", "", &[]).status, 204);
    assert!(problems(&one.ask(&form)).contains("is not here"));
}

/// Where files are kept is told to nobody.
#[test]
fn names_are_those_that_the_user_gave() {
    let server = Server::start(&[]);
    let room = server.enter();
    let number = room.upload("../..//my floor.csv", b"staff_mm,0,1\n0,1,x\n");
    let form =
        json!({"survey": {"files": [number]}, "heading": {"job": "a"}, "floor": {"name": "a"}});
    let answer = room.ask(&form);
    assert_eq!(answer["problems"][0]["file"], "my floor.csv");
    assert!(!answer.to_string().contains("lowspot-"), "{answer}");
    let good = room.upload("good.csv", read(KITCHEN, "survey.csv").as_bytes());
    let answer = room.ask(&kitchen(&json!({"survey": {"files": [good]}})));
    assert_eq!(answer["check"]["inputs"][0]["file"], "good.csv");
    // Files that are called like ours, and like each other, stay what they are.
    let names = ["job.toml", "compound-1.toml", "survey.csv", "good.csv"];
    for (name, again) in names.into_iter().flat_map(|name| [(name, 1), (name, 2)]) {
        let number = room.upload(name, read(KITCHEN, "survey.csv").as_bytes());
        let answer = room.ask(&kitchen(&json!({"survey": {"files": [number]}})));
        assert_eq!(answer["check"]["inputs"][0]["file"], name, "{again}");
        assert!(answer["pour"].is_object(), "{answer}");
    }
    assert!(!answer.to_string().contains("/room-"), "{answer}");
}

#[test]
fn what_does_not_come_from_the_page_is_refused() {
    let server = Server::start(&[]);
    let room = server.enter();
    let form = kitchen(&json!({})).to_string();
    let host = server.host();
    let json = ("content-type", "application/json");
    let ours = format!("http://{host}");
    let status = |head: &str, headers: &[(&str, &str)], body: &str| {
        server.send(head, headers, body.as_bytes()).status
    };
    let cookie = ("cookie", room.cookie.as_str());
    let (host, origin) = (("host", host.as_str()), ("origin", ours.as_str()));
    assert_eq!(
        status("POST /answer", &[host, origin, cookie, json], &form),
        200
    );
    for (why, head, headers) in [
        ("another name", "GET /", vec![("host", "floors.example")]),
        ("no name", "GET /", vec![]),
        ("two names", "GET /", vec![host, ("host", "floors.example")]),
        (
            "another in the address",
            "GET http://floors.example/",
            vec![host],
        ),
        (
            "another page",
            "POST /answer",
            vec![host, ("origin", "http://floors.example"), cookie, json],
        ),
        ("no page", "POST /answer", vec![host, cookie, json]),
        (
            "a hidden page",
            "POST /answer",
            vec![host, ("origin", "null"), cookie, json],
        ),
        (
            "across sites",
            "POST /answer",
            vec![host, origin, ("sec-fetch-site", "cross-site"), cookie, json],
        ),
        ("another method", "PUT /answer", vec![host, cookie, json]),
    ] {
        let status = status(head, &headers, &form);
        assert!(status == 403 || status == 400, "{why}: {status}");
    }
    assert_eq!(
        status("POST /answer", &[host, origin, json], &form),
        401,
        "no room"
    );
    assert_eq!(
        status(
            "POST /answer",
            &[host, origin, ("cookie", "lowspot=0"), json],
            &form
        ),
        401
    );
    assert_eq!(
        status(
            "POST /answer",
            &[host, origin, cookie, ("content-type", "text/plain")],
            &form
        ),
        415
    );
    assert_eq!(status("DELETE /answer", &[host, origin, cookie], ""), 405);
    for path in [
        "/../Cargo.toml",
        "/%2e%2e/Cargo.toml",
        "/assets/app.js",
        "//etc/passwd",
        "/room-0/upload-1/a",
    ] {
        assert_eq!(
            status(&format!("GET {path}"), &[host, cookie], ""),
            404,
            "{path}"
        );
    }
}

#[test]
fn a_form_opens_no_path() {
    let server = Server::start(&[]);
    let room = server.enter();
    let refused = |more: Value| {
        let answer = room.ask(&kitchen(&more));
        assert_eq!(answer["check"], Value::Null, "{more}");
        problems(&answer)
    };
    assert!(refused(json!({"survey": {"path": "/etc/passwd"}})).contains("unknown variant"));
    assert!(refused(json!({"survey": {"files": ["/etc/passwd"]}})).contains("invalid type"));
    assert!(refused(json!({"floor": {"pins": "/etc/passwd"}})).contains("found /etc/passwd"));
    assert!(refused(json!({"floor": {"outline": "/etc/passwd"}})).contains("unknown field"));
    assert!(refused(json!({"floor": {"classes": "/etc/passwd"}})).contains("unknown field"));
    assert!(refused(json!({"floor": {"class": ["/etc/passwd"]}})).contains("/etc/passwd"));
    let quoted = json!({"floor": {"name": "a\"\nsurvey = \"/etc/passwd\"\n#"}});
    assert!(
        room.ask(&kitchen(&quoted))["check"].is_object(),
        "a name is only a name"
    );
}

#[test]
fn too_much_is_refused_in_words() {
    let server = Server::start(&[]);
    let room = server.enter();
    let long = room.post(
        "/answer",
        &"x".repeat(5 << 20),
        &[("content-type", "application/json")],
    );
    assert_eq!(long.status, 413);
    let announced = room.post(
        "/upload?name=a",
        "",
        &[("content-length", "99999999999999")],
    );
    assert_eq!(announced.status, 413);
    assert!(announced.text().contains("4 GB"), "{}", announced.text());
    let numbers: Vec<_> = (0..51)
        .map(|_| room.post("/upload?name=a", "x", &[]).status)
        .collect();
    assert_eq!((numbers[0], numbers[49], numbers[50]), (200, 200, 413));
    assert!(problems(&room.ask(&json!([1, 2]))).contains("the form that the page sends"));
    assert!(
        problems(&room.ask(&kitchen(&json!({"places": vec![[0.0, 0.0]; 1001]})))).contains("fewer")
    );
}

#[test]
fn on_a_network_nothing_is_told_without_the_key() {
    let server = Server::start(&["--lan", "127.0.0.1"]);
    let key = server.key();
    let host = server.host();
    let headers = [("host", host.as_str())];
    let get = |path: &str| server.send(&format!("GET {path}"), &headers, b"");
    for path in [
        "/",
        "/app.js",
        "/classes.json",
        "/?key=",
        "/?key=0",
        "/nothing",
    ] {
        assert_eq!(get(path).status, 403, "{path}");
    }
    assert_eq!(
        get(&format!("/app.js?key={key}")).status,
        403,
        "the key opens the front page alone"
    );
    let first = get(&format!("/?key={key}"));
    assert_eq!(first.status, 200);
    let cookie = first.cookie().unwrap();
    let with_cookie = [("host", host.as_str()), ("cookie", cookie.as_str())];
    assert_eq!(server.send("GET /app.js", &with_cookie, b"").status, 200);
    assert_eq!(get(&format!("/?key={key}")).status, 403, "a key opens once");
    let next = server.key();
    assert_ne!(key, next);
    assert_eq!(get(&format!("/?key={next}")).status, 200);
}

#[test]
fn every_answer_keeps_the_browser_to_this_page() {
    let server = Server::start(&[]);
    let host = server.host();
    for path in ["/", "/app.js", "/nothing"] {
        let Answer { headers, .. } = server.send(&format!("GET {path}"), &[("host", &host)], b"");
        let policy = &headers["content-security-policy"];
        assert!(
            policy.starts_with("default-src 'none'") && !policy.contains("unsafe"),
            "{policy}"
        );
        assert_eq!(headers["x-content-type-options"], "nosniff");
    }
    let cookie = &server.send("GET /", &[("host", &host)], b"").headers["set-cookie"];
    assert!(
        cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"),
        "{cookie}"
    );
}

#[test]
fn the_page_is_light_and_asks_nobody_else() {
    let assets = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/page/assets");
    let mut bytes = 0;
    for asset in fs::read_dir(assets).unwrap() {
        let text = fs::read_to_string(asset.unwrap().path()).unwrap();
        bytes += text.len();
        let addresses = text.matches("://").count();
        assert_eq!(
            addresses,
            text.matches("http://www.w3.org/2000/svg").count()
        );
    }
    assert!(bytes < 150_000, "{bytes}");
}

#[cfg(unix)]
#[test]
fn an_interrupt_ends_it_and_nothing_is_left() {
    for signal in ["-INT", "-TERM"] {
        let temp = tempfile::tempdir().unwrap();
        let mut server = Server::start_in(temp.path(), &[]);
        let room = server.enter();
        room.upload("a.csv", b"kept for now");
        assert_eq!(fs::read_dir(temp.path()).unwrap().count(), 1);
        {
            use std::os::unix::fs::PermissionsExt as _;
            let folder = fs::read_dir(temp.path()).unwrap().next().unwrap().unwrap();
            assert_eq!(
                folder.metadata().unwrap().permissions().mode() & 0o777,
                0o700
            );
        }
        assert_eq!(server.end(signal).code(), Some(0), "{signal}");
        assert_eq!(fs::read_dir(temp.path()).unwrap().count(), 0);
    }
}

#[test]
fn a_port_that_is_taken_is_told() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    let output = Command::new(env!("CARGO_BIN_EXE_lowspot"))
        .args(["serve", "--port", &port])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains(&port) && said.contains("--port"), "{said}");
}
