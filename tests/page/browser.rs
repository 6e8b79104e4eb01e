//! As much of a browser as the tests need: a server of its own, requests byte by byte, a cookie.

use std::collections::HashMap;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, ChildStdout, Command, ExitStatus, Stdio};
use std::sync::Mutex;

use serde_json::Value;

/// A `lowspot serve` of the test's own.
pub struct Server {
    process: Child,
    said: Mutex<BufReader<ChildStdout>>,
    url: String,
}

/// What came back.
pub struct Answer {
    pub status: u16,
    pub headers: HashMap<String, String>,
    body: Vec<u8>,
}

/// A browser that was let in.
pub struct Room<'a> {
    server: &'a Server,
    pub cookie: String,
}

impl Server {
    pub fn start(args: &[&str]) -> Self {
        Self::start_in(&std::env::temp_dir(), args)
    }

    /// With its temporary files in a folder.
    pub fn start_in(temp: &Path, args: &[&str]) -> Self {
        let mut process = Command::new(env!("CARGO_BIN_EXE_lowspot"))
            .args(["serve", "--port", "0"])
            .args(args)
            .env("TMPDIR", temp)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut said = BufReader::new(process.stdout.take().unwrap());
        let url = next_url(&mut said);
        Self {
            process,
            said: Mutex::new(said),
            url,
        }
    }

    /// Host and port.
    pub fn host(&self) -> String {
        self.url.split('/').nth(2).unwrap().to_owned()
    }

    /// The key that was told first, and with every call the next one.
    pub fn key(&self) -> String {
        static TOLD: Mutex<Vec<String>> = Mutex::new(Vec::new());
        let mut told = TOLD.lock().unwrap();
        let url = if told.contains(&self.url) {
            next_url(&mut *self.said.lock().unwrap())
        } else {
            told.push(self.url.clone());
            self.url.clone()
        };
        url.split_once("?key=").unwrap().1.to_owned()
    }

    /// One request on a connection of its own. `head` is method and target.
    pub fn send(&self, head: &str, headers: &[(&str, &str)], body: &[u8]) -> Answer {
        let mut stream = TcpStream::connect(self.host()).unwrap();
        let mut request = format!("{head} HTTP/1.1\r\nconnection: close\r\n");
        let sized = headers.iter().any(|(name, _)| *name == "content-length");
        if !sized && !body.is_empty() {
            request += &format!("content-length: {}\r\n", body.len());
        }
        for (name, value) in headers {
            request += &format!("{name}: {value}\r\n");
        }
        stream.write_all((request + "\r\n").as_bytes()).unwrap();
        // A server that refuses need not read to the end.
        let _ = stream.write_all(body);
        Answer::read(BufReader::new(stream))
    }

    /// A new browser opens the page.
    pub fn enter(&self) -> Room<'_> {
        let answer = self.send("GET /", &[("host", &self.host())], b"");
        assert_eq!(answer.status, 200);
        Room {
            server: self,
            cookie: answer.cookie().unwrap(),
        }
    }

    /// Sends a signal and waits for the end.
    pub fn end(&mut self, signal: &str) -> ExitStatus {
        let id = self.process.id().to_string();
        assert!(
            Command::new("kill")
                .args([signal, &id])
                .status()
                .unwrap()
                .success()
        );
        self.process.wait().unwrap()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// The next address that is told.
fn next_url(said: &mut impl std::io::BufRead) -> String {
    let mut line = String::new();
    loop {
        line.clear();
        assert!(said.read_line(&mut line).unwrap() > 0, "no address");
        if let Some(word) = line
            .split_whitespace()
            .find(|word| word.starts_with("http://"))
        {
            return word.to_owned();
        }
    }
}

impl Room<'_> {
    pub fn post(&self, target: &str, body: &str, headers: &[(&str, &str)]) -> Answer {
        self.post_bytes(target, body.as_bytes(), headers)
    }

    fn post_bytes(&self, target: &str, body: &[u8], headers: &[(&str, &str)]) -> Answer {
        let host = self.server.host();
        let origin = format!("http://{host}");
        let own = [
            ("host", host.as_str()),
            ("origin", &origin),
            ("cookie", &self.cookie),
        ];
        self.server
            .send(&format!("POST {target}"), &[&own, headers].concat(), body)
    }

    pub fn upload(&self, name: &str, bytes: &[u8]) -> u64 {
        let name: String = name.bytes().map(|byte| format!("%{byte:02x}")).collect();
        let answer = self.post_bytes(&format!("/upload?name={name}"), bytes, &[]);
        assert_eq!(answer.status, 200, "{}", answer.text());
        answer.text().parse().unwrap()
    }

    /// The answer to a form: the last line.
    pub fn ask(&self, form: &Value) -> Value {
        let answer = self.post(
            "/answer",
            &form.to_string(),
            &[("content-type", "application/json")],
        );
        assert_eq!(answer.status, 200, "{}", answer.text());
        let last = answer.text().lines().last().unwrap().to_owned();
        serde_json::from_str::<Value>(&last).unwrap()["answer"].take()
    }
}

impl Answer {
    fn read(mut stream: BufReader<TcpStream>) -> Self {
        let mut line = String::new();
        stream.read_line(&mut line).unwrap();
        let status = line.split(' ').nth(1).unwrap().parse().unwrap();
        let mut headers = HashMap::new();
        loop {
            line.clear();
            stream.read_line(&mut line).unwrap();
            match line.trim_end().split_once(": ") {
                Some((name, value)) => headers.insert(name.to_ascii_lowercase(), value.to_owned()),
                None => break,
            };
        }
        let mut body = Vec::new();
        if headers
            .get("transfer-encoding")
            .is_some_and(|how| how == "chunked")
        {
            chunks(&mut stream, &mut body);
        } else {
            let _ = stream.read_to_end(&mut body);
        }
        Self {
            status,
            headers,
            body,
        }
    }

    pub fn bytes(&self) -> &[u8] {
        &self.body
    }

    pub fn text(&self) -> String {
        String::from_utf8(self.body.clone()).unwrap()
    }

    /// Name and value of the cookie that was set.
    pub fn cookie(&self) -> Option<String> {
        let cookie = self.headers.get("set-cookie")?;
        cookie.split(';').next().map(str::to_owned)
    }
}

fn chunks(stream: &mut BufReader<TcpStream>, body: &mut Vec<u8>) {
    loop {
        let mut size = String::new();
        stream.read_line(&mut size).unwrap();
        let size = usize::from_str_radix(size.trim(), 16).unwrap();
        let mut chunk = vec![0; size + 2];
        stream.read_exact(&mut chunk).unwrap();
        body.extend_from_slice(&chunk[..size]);
        if size == 0 {
            return;
        }
    }
}
