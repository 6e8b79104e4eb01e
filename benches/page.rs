//! The page under load: 32 browsers, each with a floor of 40 readings and a compound, ask for a minute on the loopback.
//!
//! `cargo bench --bench page [-- SECONDS CLIENTS PAUSE_MS]`: each asks anew when it has its answer and paused. Out: answers, errors,
//! times to the whole answer, and the greatest memory of the server (Linux).

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use serde_json::json;

fn main() {
    let numbers: Vec<u64> = std::env::args()
        .filter_map(|arg| arg.parse().ok())
        .collect();
    let number = |place: usize, usual| numbers.get(place).copied().unwrap_or(usual);
    let (seconds, clients, pause) = (number(0, 60), number(1, 32), number(2, 0));
    let (server, host) = start();
    let until = Instant::now() + Duration::from_secs(seconds);
    let workers: Vec<_> = (0..clients)
        .map(|client| {
            let host = host.clone();
            thread::spawn(move || ask_until(&host, client, until, Duration::from_millis(pause)))
        })
        .collect();
    let mut times = Vec::new();
    let mut errors = 0;
    for worker in workers {
        let (own, failed) = worker.join().expect("a client");
        times.extend(own);
        errors += failed;
    }
    report(&mut times, errors, seconds, &server);
    end(server);
}

fn report(times: &mut [Duration], errors: u64, seconds: u64, server: &Child) {
    times.sort();
    let at = |share: f64| {
        let place = (share * (times.len().max(1) - 1) as f64) as usize;
        times
            .get(place)
            .map_or(f64::NAN, |time| time.as_secs_f64() * 1e3)
    };
    println!(
        "{} answers, {errors} errors, {:.0} a second",
        times.len(),
        times.len() as f64 / seconds as f64
    );
    println!(
        "median {:.1} ms, 95 % {:.1} ms, 99 % {:.1} ms, longest {:.1} ms",
        at(0.5),
        at(0.95),
        at(0.99),
        at(1.0)
    );
    let status = std::fs::read_to_string(format!("/proc/{}/status", server.id()));
    let peak = status.iter().flat_map(|text| text.lines());
    for line in peak.filter(|line| line.starts_with("VmHWM")) {
        println!(
            "memory at its peak: {}",
            line.trim_start_matches("VmHWM:").trim()
        );
    }
}

/// A server and where it listens.
fn start() -> (Child, String) {
    let mut server = Command::new(env!("CARGO_BIN_EXE_lowspot"))
        .args(["serve", "--port", "0"])
        .stdout(Stdio::piped())
        .spawn()
        .expect("a server");
    let mut said = String::new();
    let out = server.stdout.as_mut().expect("its output");
    BufReader::new(out)
        .read_line(&mut said)
        .expect("its address");
    let host = said.split('/').nth(2).expect("an address").to_owned();
    (server, host)
}

fn end(mut server: Child) {
    let id = server.id().to_string();
    let _ = Command::new("kill").args(["-INT", &id]).status();
    let _ = server.wait();
}

/// 8 by 5 readings, another floor for every client and time.
fn form(client: u64, turn: u64) -> String {
    let reading =
        |x: u64, y: u64| 1250 + (x * 7 + y * 13 + client * 31 + turn * 17 + x * y * client) % 12;
    let header = (0..8)
        .map(|x| format!(",{}", x as f64 * 0.5))
        .collect::<String>();
    let row = |y: u64| {
        let cells = (0..8)
            .map(|x| format!(",{}", reading(x, y)))
            .collect::<String>();
        format!("{}{cells}\n", y as f64 * 0.5)
    };
    let grid = format!("staff_mm{header}\n{}", (0..5).map(row).collect::<String>());
    json!({
        "survey": {"typed": grid},
        "sheets": [include_str!("../sample-surveys/weavers-kitchen/compound.toml")],
        "heading": {"job": "Load"},
        "floor": {"name": "Floor", "class": ["SR2"], "exit": ["0 m", "1 m"]},
    })
    .to_string()
}

/// The time of every answer, and how many were none.
fn ask_until(host: &str, client: u64, until: Instant, pause: Duration) -> (Vec<Duration>, u64) {
    let mut stream = BufReader::new(TcpStream::connect(host).expect("a connection"));
    let front = format!("GET / HTTP/1.1\r\nhost: {host}\r\n\r\n");
    let (head, _) = exchange(&mut stream, front.as_bytes()).expect("the page");
    let cookie = head
        .lines()
        .find_map(|line| line.strip_prefix("set-cookie: "))
        .and_then(|cookie| cookie.split(';').next())
        .expect("a cookie")
        .to_owned();
    let (mut times, mut errors) = (Vec::new(), 0);
    for turn in 0.. {
        let form = form(client, turn);
        let request = format!(
            "POST /answer HTTP/1.1\r\nhost: {host}\r\norigin: http://{host}\r\ncookie: {cookie}\r\n\
             content-type: application/json\r\ncontent-length: {}\r\n\r\n{form}",
            form.len()
        );
        let started = Instant::now();
        if started >= until {
            break;
        }
        match exchange(&mut stream, request.as_bytes()) {
            Some((head, body))
                if head.starts_with("HTTP/1.1 200") && body.contains("\"problems\":[]") =>
            {
                times.push(started.elapsed());
            }
            _ => errors += 1,
        }
        thread::sleep(pause);
    }
    (times, errors)
}

/// Sends a request and takes the answer: head and body.
fn exchange(stream: &mut BufReader<TcpStream>, request: &[u8]) -> Option<(String, String)> {
    stream.get_mut().write_all(request).ok()?;
    let mut head = String::new();
    while !head.ends_with("\r\n\r\n") {
        if stream.read_line(&mut head).ok()? == 0 {
            return None;
        }
    }
    let mut body = Vec::new();
    let length = head
        .lines()
        .find_map(|line| line.strip_prefix("content-length: "));
    match length.and_then(|length| length.parse().ok()) {
        Some(length) => {
            body.resize(length, 0);
            stream.read_exact(&mut body).ok()?;
        }
        None => loop {
            let mut size = String::new();
            stream.read_line(&mut size).ok()?;
            let size = usize::from_str_radix(size.trim(), 16).ok()?;
            let start = body.len();
            body.resize(start + size + 2, 0);
            stream.read_exact(&mut body[start..]).ok()?;
            if size == 0 {
                break;
            }
        },
    }
    Some((head, String::from_utf8(body).ok()?))
}
