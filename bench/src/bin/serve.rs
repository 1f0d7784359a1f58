//! The bench as a process: start, page after a hold, live stream, memory. Figures beside their targets.
//!
//!     cargo build --release -p bellmouth && (cd bench && cargo run --release --bin serve)

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use tungstenite::client::IntoClientRequest;
use tungstenite::{Message, client};

struct Server {
    process: Child,
    host: String,
}

impl Drop for Server {
    fn drop(&mut self) {
        // Gone already is as good.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

fn program() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/release/bellmouth")
}

fn start(folder: &Path) -> (Server, f64) {
    let begun = Instant::now();
    let mut process = Command::new(program())
        .args(["serve", "--address", "127.0.0.1:0", "--logbook"])
        .arg(folder.join("logbook.sqlite"))
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the release build stands in target/release");
    let mut line = String::new();
    BufReader::new(process.stdout.take().expect("a pipe"))
        .read_line(&mut line)
        .expect("the address is printed");
    let host = line.trim().trim_end_matches('/').rsplit('/').next().expect("an address").to_string();
    let server = Server { process, host };
    server.get("/");
    (server, 1e3 * begun.elapsed().as_secs_f64())
}

impl Server {
    fn ask(&self, request: &str) -> String {
        let mut stream = TcpStream::connect(&self.host).expect("the server listens");
        stream.write_all(request.as_bytes()).expect("a request is sent");
        let mut answer = String::new();
        stream.read_to_string(&mut answer).expect("an answer is read");
        answer
    }

    fn get(&self, path: &str) -> String {
        self.ask(&format!("GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", self.host))
    }

    fn post(&self, path: &str, form: &str) -> String {
        self.ask(&format!(
            "POST {path} HTTP/1.1\r\nHost: {0}\r\nOrigin: http://{0}\r\nAccept: application/json\r\nConnection: close\r\n\
             Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {1}\r\n\r\n{form}",
            self.host,
            form.len()
        ))
    }

    fn status(&self, field: &str) -> f64 {
        let status =
            std::fs::read_to_string(format!("/proc/{}/status", self.process.id())).expect("a process");
        let line = status.lines().find(|line| line.starts_with(field)).expect("the field");
        line.split_whitespace().nth(1).and_then(|kb| kb.parse::<f64>().ok()).expect("a number") / 1024.0
    }

    /// Processor time used so far, seconds.
    fn processor_s(&self) -> f64 {
        let stat = std::fs::read_to_string(format!("/proc/{}/stat", self.process.id())).expect("a process");
        let fields: Vec<&str> = stat.rsplit(") ").next().expect("fields").split(' ').collect();
        (fields[11].parse::<f64>().expect("ticks") + fields[12].parse::<f64>().expect("ticks")) / 100.0
    }
}

/// An idling V-twin for the stream: a decaying burst at every firing.
fn engine(samples: usize, rate: f64) -> Vec<i16> {
    let (mut out, mut seed) = (vec![0f64; samples], 1u64);
    let mut noise = move || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 33) as f64 / f64::from(1u32 << 30) - 1.0
    };
    let mut at = 0.01;
    while (at * rate) < samples as f64 {
        for angle in [0.0, 315.0] {
            let first = ((at + angle / 720.0 * 120.0 / 1000.0) * rate) as usize;
            for index in 0..(0.05 * rate) as usize {
                if let Some(sample) = out.get_mut(first + index) {
                    *sample += (-(index as f64) / (0.008 * rate)).exp() * noise();
                }
            }
        }
        at += 120.0 / 1000.0 * (1.0 + 0.004 * noise());
    }
    out.iter().map(|value| (9000.0 * (value + 0.05 * noise())) as i16).collect()
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn key(number: u32) -> String {
    format!("00000000-0000-4000-8000-{number:012}")
}

fn main() {
    let folder = std::env::temp_dir().join(format!("bellmouth-bench-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder");
    println!("{:<52} {:>10} {:>12}", "figure", "measured", "target");
    let row = |what: &str, measured: String, target: &str| println!("{what:<52} {measured:>10} {target:>12}");

    let starts: Vec<f64> = (0..7).map(|_| start(&folder).1).collect();
    row("start to first page, logbook there, median of 7", format!("{:.0} ms", median(starts)), "< 300 ms");

    let (server, _) = start(&folder);
    row("memory after the first page", format!("{:.0} MB", server.status("VmRSS")), "< 100 MB");
    server.post(
        "/machine/new",
        &format!("id={}&name=the+750+twin&layout=v-twin-45&cooling=air&carburettors=1", key(1)),
    );
    server.post(&format!("/machine/{}/job", key(1)), &format!("id={}", key(2)));
    let job = format!("/job/{}", key(2));
    server.post(&format!("{job}/found"), "count=1.75");
    server.post(&format!("{job}/screw"), "screw=fuel");
    let questions = [
        "throttle",
        "air-to-breathe",
        "stand",
        "beside-the-screw",
        "drips",
        "leaks",
        "choke",
        "cables",
        "spark",
        "valves",
        "level",
        "warm",
        "moving-air",
        "idle-speed",
    ];
    let answers: Vec<String> = questions.iter().map(|name| format!("gate-{name}=good")).collect();
    server.post(&format!("{job}/check"), &answers.join("&"));
    let curve = [
        (1.75, 1002),
        (2.25, 1051),
        (3.0, 1046),
        (2.0, 1034),
        (1.75, 1004),
        (2.5, 1055),
        (1.5, 941),
        (2.25, 1050),
        (2.75, 1052),
    ];
    let (mut saved, mut drawn) = (Vec::new(), Vec::new());
    for (index, (turns, rpm)) in curve.iter().enumerate() {
        let begun = Instant::now();
        let answer = server.post(
            &format!("{job}/idle/typed"),
            &format!("id={}&turns={turns}&rpm={rpm}", key(100 + index as u32)),
        );
        saved.push(1e3 * begun.elapsed().as_secs_f64());
        assert!(answer.contains("200 OK"), "{answer}");
        let begun = Instant::now();
        let parts = server.get(&format!("{job}/idle/parts"));
        drawn.push(1e3 * begun.elapsed().as_secs_f64());
        assert!(parts.contains("\"curve\""), "{parts}");
    }
    row("a reading saved and refitted, median of 9", format!("{:.0} ms", median(saved)), "");
    row("the page's parts after the ninth hold", format!("{:.0} ms", drawn[8]), "< 100 ms");
    row("memory, nine holds in", format!("{:.0} MB", server.status("VmRSS")), "< 100 MB");

    let rate = 48_000.0;
    let seconds = 20;
    let sound = engine(seconds * rate as usize, rate);
    let mut request =
        format!("ws://{}{job}/idle/live", server.host).into_client_request().expect("an address");
    request.headers_mut().insert("origin", format!("http://{}", server.host).parse().expect("an origin"));
    let stream = TcpStream::connect(&server.host).expect("the server listens");
    let (mut socket, _) = client(request, stream).expect("the socket opens");
    socket.get_ref().set_read_timeout(Some(Duration::from_millis(1))).expect("a time-out");
    socket.send(Message::text(r#"{"say":"hello","sample_rate_hz":48000}"#)).expect("hello is said");
    let before = server.processor_s();
    let begun = Instant::now();
    let (mut lives, mut first) = (0, None);
    for (index, block) in sound.chunks(2048).enumerate() {
        let bytes: Vec<u8> = block.iter().flat_map(|sample| sample.to_le_bytes()).collect();
        socket.send(Message::binary(bytes)).expect("samples are sent");
        let due = Duration::from_secs_f64((index + 1) as f64 * 2048.0 / rate);
        while begun.elapsed() < due {
            if let Ok(Message::Text(news)) = socket.read() {
                lives += i32::from(news.contains("\"live\""));
                if first.is_none() && news.contains("\"state\":\"heard\"") {
                    first = Some(begun.elapsed().as_secs_f64());
                }
            }
        }
    }
    let share = 100.0 * (server.processor_s() - before) / begun.elapsed().as_secs_f64();
    row("live stream, 48 kHz, share of a core", format!("{share:.1} %"), "< 5 %");
    row("live speeds a second", format!("{:.1}", f64::from(lives) / seconds as f64), ">= 10");
    row("first speed after the engine is audible", format!("{:.1} s", first.unwrap_or(f64::NAN)), "< 2 s");
    row("peak memory with the stream", format!("{:.0} MB", server.status("VmHWM")), "< 100 MB");
    drop(socket);
    drop(server);

    for (minutes, times, target) in [(10, 3, "< 3 s"), (120, 1, "")] {
        let file = folder.join("long.wav");
        write_long(&file, minutes * 60, 48_000);
        let takes: Vec<(f64, f64)> = (0..times).map(|_| listened(&file)).collect();
        let took = median(takes.iter().map(|take| take.0).collect());
        let peak = takes.iter().map(|take| take.1).fold(0.0, f64::max);
        row(
            &format!("listen to {minutes} min of 48 kHz wav, median of {times}"),
            format!("{took:.2} s"),
            target,
        );
        row("  its peak memory", format!("{peak:.0} MB"), "< 100 MB");
    }
    std::fs::remove_dir_all(&folder).expect("our own folder can be removed");
}

/// Runs `listen` on a file: seconds by the clock, and peak memory in megabytes.
fn listened(file: &Path) -> (f64, f64) {
    let begun = Instant::now();
    let mut listening = Command::new(program())
        .args(["listen", "--engine", "v-twin-45", "--json"])
        .arg(file)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts");
    let mut peak: f64 = 0.0;
    loop {
        let ended = listening.try_wait().expect("a process");
        if let Some(status) = ended {
            assert!(status.success(), "a refusal is no figure");
            return (begun.elapsed().as_secs_f64(), peak);
        }
        let status = std::fs::read_to_string(format!("/proc/{}/status", listening.id())).unwrap_or_default();
        let line = status.lines().find(|line| line.starts_with("VmHWM")).unwrap_or_default();
        let kib = line.split_whitespace().nth(1).and_then(|kib| kib.parse::<f64>().ok());
        peak = peak.max(kib.unwrap_or(0.0) / 1024.0);
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// Twenty seconds of engine, written over and over.
fn write_long(file: &Path, seconds: u32, hertz: u32) {
    let piece: Vec<u8> = engine(20 * hertz as usize, f64::from(hertz))
        .iter()
        .flat_map(|sample| sample.to_le_bytes())
        .collect();
    let data = seconds / 20 * piece.len() as u32;
    let mut out = std::io::BufWriter::new(std::fs::File::create(file).expect("a file"));
    let mut header = Vec::from(*b"RIFF");
    header.extend((36 + data).to_le_bytes());
    header.extend(b"WAVEfmt \x10\0\0\0\x01\0\x01\0");
    header.extend(hertz.to_le_bytes());
    header.extend((2 * hertz).to_le_bytes());
    header.extend(b"\x02\0\x10\0data");
    header.extend(data.to_le_bytes());
    out.write_all(&header).expect("the disk has room");
    for _ in 0..seconds / 20 {
        out.write_all(&piece).expect("the disk has room");
    }
}
