//! What the rim refuses, and what it puts on every answer: asked over a plain socket.

#![allow(clippy::unwrap_used, reason = "a helper of a test fails by panicking")]

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::time::Duration;

use bellmouth_workshop::Workshop;

const MACHINE: &str = "0198a1b0-0000-7000-8000-000000000001";
const JOB: &str = "0198a1b0-0000-7000-8000-000000000002";

/// A server in this process, with one machine and one job; it ends with the process.
struct Bench {
    address: SocketAddr,
    _folder: tempfile::TempDir,
}

impl Bench {
    fn open() -> Bench {
        let folder = tempfile::tempdir().unwrap();
        let (workshop, _) = Workshop::open(&folder.path().join("bench.db")).unwrap();
        let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        listener.set_nonblocking(true).unwrap();
        std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
            runtime.block_on(async {
                let listener = tokio::net::TcpListener::from_std(listener).unwrap();
                bellmouth_web::serve(listener, Arc::new(workshop), std::future::pending()).await.unwrap();
            });
        });
        let bench = Bench { address, _folder: folder };
        let machine =
            format!("id={MACHINE}&name=the+750+twin&layout=v-twin-45&cooling=air&carburettors=1&base_turns=");
        assert_eq!(bench.post("/machine/new", &machine).status, 303);
        let job = bench.post(&format!("/machine/{MACHINE}/job"), &format!("id={JOB}&complaint=coughs"));
        assert_eq!(job.header("location"), format!("/job/{JOB}"));
        bench
    }

    /// Sends exactly these bytes and reads what comes back, until the server is done or hangs up.
    fn raw(&self, bytes: &[u8]) -> Answer {
        let mut stream = TcpStream::connect(self.address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        // A server that refuses early may hang up before it has read everything.
        let _ = stream.write_all(bytes);
        let mut text = Vec::new();
        let mut block = [0; 4096];
        while let Ok(count @ 1..) = stream.read(&mut block) {
            text.extend(&block[..count]);
        }
        Answer::read(&String::from_utf8_lossy(&text))
    }

    fn send(&self, method: &str, path: &str, head: &str, body: &str) -> Answer {
        let length = body.len();
        let request = format!(
            "{method} {path} HTTP/1.1\r\nConnection: close\r\nContent-Length: {length}\r\n{head}\r\n{body}"
        );
        self.raw(request.as_bytes())
    }

    fn get(&self, path: &str) -> Answer {
        self.send("GET", path, &format!("Host: {}\r\n", self.address), "")
    }

    /// A form as a page of ours sends it.
    fn post(&self, path: &str, body: &str) -> Answer {
        self.send("POST", path, &(self.ours() + FORM), body)
    }

    fn ours(&self) -> String {
        format!("Host: {0}\r\nOrigin: http://{0}\r\n", self.address)
    }
}

const FORM: &str = "Content-Type: application/x-www-form-urlencoded\r\n";

struct Answer {
    status: u16,
    head: String,
    body: String,
}

impl Answer {
    fn read(text: &str) -> Answer {
        let (head, body) = text.split_once("\r\n\r\n").unwrap_or((text, ""));
        let status = head.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or(0);
        Answer { status, head: head.into(), body: body.into() }
    }

    fn header(&self, name: &str) -> &str {
        let headers = self.head.lines().filter_map(|line| line.split_once(": "));
        headers
            .filter(|(known, _)| known.eq_ignore_ascii_case(name))
            .map(|(_, value)| value)
            .next()
            .unwrap_or("")
    }

    /// Every answer, whatever it answers, keeps strangers out of the page.
    #[track_caller]
    fn is_guarded(&self) {
        let policy = self.header("content-security-policy");
        for part in [
            "default-src 'none'",
            "script-src 'self'",
            "style-src 'self'",
            "frame-ancestors 'none'",
            "base-uri 'none'",
        ] {
            assert!(policy.contains(part), "no {part} in \"{policy}\" of {}", self.head);
        }
        assert!(!policy.contains("unsafe"), "{policy}");
        assert_eq!(self.header("x-content-type-options"), "nosniff", "{}", self.head);
        assert!(self.header("permissions-policy").contains("microphone=(self)"), "{}", self.head);
        assert!(self.header("permissions-policy").contains("camera=()"), "{}", self.head);
        assert_eq!(self.header("access-control-allow-origin"), "", "no other page may read an answer");
    }

    /// A refusal says what was wrong and what to do, in sentences, on a guarded page.
    #[track_caller]
    fn refuses(&self, status: u16, words: &str) {
        assert_eq!(self.status, status, "{}\n{}", self.head, self.body);
        assert!(self.body.contains(words), "no \"{words}\" in {}", self.body);
        assert!(
            self.body.contains("To the garage") || self.body.contains("remedy"),
            "no way on: {}",
            self.body
        );
        self.is_guarded();
    }
}

#[test]
fn a_foreign_host_name_is_refused_whatever_it_asks() {
    let bench = Bench::open();
    let port = bench.address.port();
    for host in ["evil.example", "evil.example:80", "127.0.0.1", "127.0.0.1:1", "", "0.0.0.0"] {
        let answer = bench.send("GET", "/", &format!("Host: {host}\r\n"), "");
        answer.refuses(421, "does not answer to the host name");
        let posted = format!("Host: {host}\r\nOrigin: http://{host}\r\n{FORM}");
        bench.send("POST", "/demo/remove", &posted, "").refuses(421, "does not answer to the host name");
    }
    for host in [format!("localhost:{port}"), format!("LocalHost:{port}"), format!("127.0.0.1:{port}")] {
        assert_eq!(bench.send("GET", "/", &format!("Host: {host}\r\n"), "").status, 200, "{host}");
    }
}

#[test]
fn a_form_that_does_not_come_from_a_page_of_ours_is_refused() {
    let bench = Bench::open();
    let host = format!("Host: {}\r\n", bench.address);
    let port = bench.address.port();
    let foreign = [
        String::new(),
        "Origin: null\r\n".into(),
        "Origin: http://evil.example\r\n".into(),
        format!("Origin: https://127.0.0.1:{port}\r\n"),
        format!("Origin: http://127.0.0.1:{port}.evil.example\r\n"),
        format!("Origin: http://127.0.0.1:{}\r\n", port ^ 1),
        // The other name of this machine is another origin to a browser.
        format!("Origin: http://localhost:{port}\r\n"),
    ];
    for origin in &foreign {
        let head = format!("{host}{origin}{FORM}");
        for path in [
            "/machine/new",
            "/demo/remove",
            &format!("/machine/{MACHINE}/delete"),
            &format!("/job/{JOB}/idle/alarm"),
        ] {
            bench.send("POST", path, &head, "id=x").refuses(403, "not from a page of this bench");
        }
        for method in ["PUT", "DELETE", "PATCH", "OPTIONS"] {
            assert_eq!(bench.send(method, "/", &head, "").status, 403, "{method} {origin}");
        }
    }
    assert!(bench.get("/").body.contains("the 750 twin"), "nothing was deleted by all that");
}

#[test]
fn a_live_stream_is_given_to_pages_of_ours_only() {
    let bench = Bench::open();
    let upgrade = |origin: &str| {
        format!(
            "GET /job/{JOB}/idle/live HTTP/1.1\r\nHost: {}\r\n{origin}Connection: Upgrade\r\nUpgrade: websocket\r\n\
             Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n",
            bench.address
        )
    };
    let first = |request: String| {
        let mut stream = TcpStream::connect(bench.address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        stream.write_all(request.as_bytes()).unwrap();
        let mut block = [0; 4096];
        let count = stream.read(&mut block).unwrap();
        Answer::read(&String::from_utf8_lossy(&block[..count]))
    };
    for origin in ["", "Origin: null\r\n", "Origin: http://evil.example\r\n"] {
        let answer = first(upgrade(origin));
        assert_eq!(answer.status, 403, "{origin}");
        answer.is_guarded();
    }
    assert_eq!(first(upgrade(&format!("Origin: http://{}\r\n", bench.address))).status, 101);
}

#[test]
fn every_answer_keeps_strangers_out_of_the_page() {
    let bench = Bench::open();
    let job = format!("/job/{JOB}");
    let tails = [
        "",
        "/found",
        "/screw",
        "/check",
        "/idle",
        "/alarm",
        "/left",
        "/idle/parts",
        "/readings.csv",
        "/sweep.json",
        "/idle/live",
    ];
    let mut paths: Vec<String> = tails.iter().map(|tail| format!("{job}{tail}")).collect();
    paths.extend(
        ["/", "/cautions", "/machine/new", "/nothing", "/assets/bench.js", "/assets/none", "/%00", "/job/x"]
            .map(String::from),
    );
    paths.push(format!("/machine/{MACHINE}"));
    for path in paths {
        let answer = bench.get(&path);
        assert!((200..600).contains(&answer.status), "{path}: {}", answer.head);
        answer.is_guarded();
        if !path.starts_with("/assets/bench") {
            assert_eq!(
                answer.header("cache-control"),
                "no-store",
                "{path}: a page shows what is, not what was"
            );
        }
    }
    let refused = bench.post("/machine/new", "id=no&name=");
    assert_eq!(refused.status, 400, "{}", refused.body);
    refused.is_guarded();
}

#[test]
fn what_is_too_large_is_refused_with_a_sentence() {
    let bench = Bench::open();
    let long = format!("id={MACHINE}&name={}", "a".repeat(100_000));
    bench.post("/machine/new", &long).refuses(413, "he form is larger than 64 kB");
    let alarm = format!("/job/{JOB}/idle/pause");
    let json = format!("{}{FORM}Accept: application/json\r\n", bench.ours());
    let answer = bench.send("POST", &alarm, &json, &long);
    answer.refuses(413, "he form is larger than 64 kB");
    assert!(answer.body.starts_with(r#"{"error""#), "{}", answer.body);
    assert!(bench.get("/").body.contains("the 750 twin"), "the server goes on");
}

#[test]
fn what_means_nothing_is_refused_with_a_way_on() {
    let bench = Bench::open();
    bench.get("/nothing/here").refuses(404, "There is no page at this address");
    bench.get("/assets/../Cargo.toml").refuses(404, "There is no page at this address");
    bench.get("/assets/none.js").refuses(404, "There is no file");
    let keys = [
        "x",
        "%3Cscript%3E",
        "..%2f..",
        "00000000-0000-0000-0000-000000000000",
        "0198a1b0-0000-7000-8000-00000000000g",
    ];
    for key in keys {
        for path in [format!("/job/{key}"), format!("/job/{key}/idle"), format!("/machine/{key}")] {
            bench.get(&path).refuses(404, "is no key of a machine or job");
        }
        let posted = bench.post(&format!("/job/{key}/idle/pause"), "seen=1");
        posted.refuses(404, "is no key of a machine or job");
        assert!(!posted.body.contains("<script>"), "{}", posted.body);
    }
    let unknown = "0198a1b0-0000-7000-8000-0000000000ff";
    for path in [format!("/job/{unknown}"), format!("/job/{unknown}/idle"), format!("/machine/{unknown}")] {
        let answer = bench.get(&path);
        assert!((400..500).contains(&answer.status), "{path}: {} {}", answer.status, answer.body);
        assert!(answer.body.contains("To the garage"), "{}", answer.body);
    }
    bench.post(&format!("/job/{JOB}/idle/explode"), "seen=1").refuses(400, "no key");
    let turns = bench.post(&format!("/job/{JOB}/found"), "seen=0&count=nan");
    assert_eq!(turns.status, 400, "{}", turns.body);
    assert_eq!(bench.raw(b"this is not a request\r\n\r\n").status, 400);
    assert_eq!(bench.get("/").status, 200, "the server goes on");
}
