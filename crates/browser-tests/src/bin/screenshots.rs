//! Takes a picture of every page, on a phone and a desk, by day and by night: `screenshots FOLDER [plain|bench|led]`.
//!
//! What hangs out over the side of a page is told as it goes.

use std::path::{Path, PathBuf};

use bellmouth_browser_tests::engine_sound::Idling;
use bellmouth_browser_tests::garage::{self, Bike, TWIN, plateau_rpm};
use bellmouth_browser_tests::{Browser, Server, Setup};

/// Name, width, height of what a page is looked at on.
const SCREENS: [(&str, u32, u32); 2] = [("phone", 390, 844), ("desk", 1440, 900)];

/// Names what stands wider than the page, but not what scrolls on purpose.
const OVERHANG: &str = "
    const wide = [...document.querySelectorAll('body *')].filter((element) => {
        const box = element.getBoundingClientRect();
        const scrolls = element.closest('nav.path, [hidden], svg');
        return box.width > 0 && !scrolls && (box.right > innerWidth + 1 || box.left < -1);
    });
    const cut = [...document.querySelectorAll('.key, .say b, .say span, dd, td, output, .numeral')].filter((element) =>
        element.offsetWidth > 0 && (element.scrollWidth > element.clientWidth + 1 || element.scrollHeight > element.clientHeight + 4)
        && getComputedStyle(element).display !== 'inline');
    const name = (element) => element.tagName.toLowerCase() + (element.className.baseVal ?? '.' + element.className) + ' \"' + element.textContent.trim().slice(0, 40) + '\"';
    return { over: wide.map(name), cut: cut.map(name) }";

struct Album {
    browser: Browser,
    into: PathBuf,
}

impl Album {
    async fn take(&self, name: &str) {
        for (screen, width, height) in SCREENS {
            for (scheme, dark) in [("light", false), ("dark", true)] {
                self.browser.look(width, height, dark).await;
                tokio::time::sleep(std::time::Duration::from_millis(150)).await;
                let file = self.into.join(format!("{name}-{screen}-{scheme}.png"));
                std::fs::write(&file, self.browser.picture().await).expect("a picture can be written");
                let file = self.into.join(format!("{name}-{screen}-{scheme}-screen.png"));
                std::fs::write(&file, self.browser.screen().await).expect("a picture can be written");
            }
            let overhang = self.browser.run(OVERHANG).await;
            for kind in ["over", "cut"] {
                for what in overhang[kind].as_array().into_iter().flatten() {
                    println!("{name} {screen}: {kind} {what}");
                }
            }
        }
    }

    /// Drops a recording of a hold on the bench that is open.
    async fn recording(&self, name: &str) {
        let sounds = tempfile::tempdir().expect("a folder can be made");
        let clip = sounds.path().join("hold.wav");
        Idling::twin_45(1040.0, 32.0).write_wav(&clip);
        self.browser.click("details[data-key=clip] > summary").await;
        let field = self.browser.find("details[data-key=clip] input[type=file]").await;
        field.send_keys(&clip.display().to_string()).await.expect("a file can be chosen");
        self.browser.until("it was listened to", "return document.querySelector('#firings') !== null").await;
        self.take(name).await;
    }

    async fn page(&self, name: &str, url: &str) {
        self.browser.goto(url).await;
        self.take(name).await;
    }
}

#[tokio::main(flavor = "current_thread")]
async fn main() {
    let into = std::env::args_os().nth(1).map_or_else(|| PathBuf::from("target/screenshots"), PathBuf::from);
    std::fs::create_dir_all(&into).expect("the folder can be made");
    let only = std::env::args().nth(2);
    let wanted = |set: &str| only.as_deref().is_none_or(|only| only == set);
    if wanted("plain") {
        plain_pages(&into).await;
    }
    if wanted("bench") {
        bench_pages(&into).await;
    }
    if wanted("led") {
        led_pages(&into).await;
    }
    println!("pictures are in {}", into.display());
}

async fn plain_pages(into: &Path) {
    let album = Album { browser: Browser::plain().await, into: into.into() };
    let empty = Server::new();
    album.page("garage-empty", &empty.url("/")).await;
    let server = Server::demo();
    let bike = Bike { name: "the green 750 twin", ..TWIN };
    let fresh = garage::enter_machine(&server, bike);
    for (name, path) in [
        ("machine-form", "/machine/new".to_string()),
        ("job-new", fresh.job.clone()),
        ("found", format!("{}/found", fresh.job)),
        ("screw", format!("{}/screw", fresh.job)),
        ("check", format!("{}/check", fresh.job)),
        ("bench-not-ready", format!("{}/idle", fresh.job)),
        ("cautions", "/cautions".into()),
        ("error", "/nothing".into()),
    ] {
        album.page(name, &server.url(&path)).await;
    }
    let done = garage::ready(&server, Bike { name: "the 650 single", found: "1.25", ..TWIN });
    garage::sweep_by_tachometer(&server, &done.job, |turns| plateau_rpm(turns, 1.75));
    album.page("garage", &server.url("/")).await;
    album.page("machine", &server.url(&done.machine)).await;
    album.page("job", &server.url(&done.job)).await;
    album.page("check-answered", &server.url(&format!("{}/check", done.job))).await;
}

async fn bench_pages(into: &Path) {
    let browser =
        Browser::open(Setup { microphone: Some(Idling::twin_45(1040.0, 240.0)), ..Setup::default() }).await;
    let album = Album { browser, into: into.into() };
    let server = Server::new();
    let bike = Bike { name: "the green 750 twin", ..TWIN };

    let first = garage::ready(&server, bike);
    album.page("bench-first-move", &server.url(&first.bench())).await;
    album.browser.click("[data-do=listen]").await;
    let heard = "return Number(document.querySelector('[data-live=rpm]').textContent) > 900";
    album.browser.until("it is heard", heard).await;
    tokio::time::sleep(std::time::Duration::from_secs(6)).await;
    album.take("bench-listening").await;

    let swept = garage::ready(&server, bike);
    let curve = |turns: f64| plateau_rpm(turns, 1.75);
    garage::type_holds(&server, &swept.job, 4, curve);
    album.browser.goto(&server.url(&swept.bench())).await;
    album.take("bench-curve").await;
    album.browser.click("[data-do=listen]").await;
    album.browser.until("it is heard", heard).await;
    album.browser.click("[data-key=main]").await;
    let measured = "return document.querySelector('[data-live=hold]').textContent.startsWith('measured')";
    album.browser.until("it is being measured", measured).await;
    album.take("bench-holding").await;
    let job = swept.job.clone();
    server
        .post(&format!("{job}/idle/pause"), &[("seen", &garage::revision(&server.get(&swept.bench()).body))]);
    album.page("bench-paused", &server.url(&swept.bench())).await;
    server.post(
        &format!("{job}/idle/resume"),
        &[("seen", &garage::revision(&server.get(&swept.bench()).body))],
    );
    let set = garage::sweep_by_tachometer(&server, &job, curve);
    album.page("bench-enough", &server.url(&swept.bench())).await;
    let set = set.to_string();
    server.post(
        &format!("{job}/idle/set"),
        &[("seen", &garage::revision(&server.get(&swept.bench()).body)), ("turns", &set)],
    );
    album.page("bench-count", &server.url(&swept.bench())).await;
    let left = format!("{job}/left");
    album.page("left-before", &server.url(&left)).await;
    server.post(&left, &[("seen", &garage::revision(&server.get(&left).body)), ("turns", &set)]);
    album.page("left", &server.url(&left)).await;
    album.page("bench-left", &server.url(&swept.bench())).await;
    server.post(&format!("{}/idle/alarm", first.job), &[]);
    album.page("alarm", &server.url(&format!("{}/alarm", first.job))).await;
    let recorded = garage::ready(&server, bike);
    album.browser.goto(&server.url(&recorded.bench())).await;
    album.recording("bench-recording").await;
}

/// The bench that leads, and the way from the stop to the seat.
async fn led_pages(into: &Path) {
    let browser =
        Browser::open(Setup { microphone: Some(Idling::twin_45(1040.0, 240.0)), ..Setup::default() }).await;
    let album = Album { browser, into: into.into() };
    let server = Server::new();
    let bike = Bike { name: "the green 750 twin", idle_rpm: "1050", carburettors: 2, ..TWIN };
    let twin = garage::ready(&server, bike);
    let bench = server.url(&twin.bench());
    let act = |action: &str, more: &[(&str, &str)]| {
        let seen = garage::revision(&server.get(&twin.bench()).body);
        let fields = [&[("seen", seen.as_str())], more].concat();
        let done = server.post(&format!("{}/idle/{action}", twin.job), &fields);
        assert_eq!(done.body, "{}", "{action}");
    };
    album.page("led-stop", &bench).await;
    album.browser.click("details[data-key=will-not] > summary").await;
    album.take("led-will-not").await;
    act("stop", &[("rpm", "1240"), ("will-not", "yes")]);
    album.page("led-will-not-idle", &bench).await;
    act("back", &[]);
    let curve = |turns: f64| plateau_rpm(turns, 1.75);
    garage::type_holds(&server, &twin.job, 4, curve);
    album.browser.goto(&bench).await;
    album.browser.click("[data-do=lead]").await;
    let hand = "return document.querySelector('[data-live=hold]').textContent.startsWith('turn it now')";
    album.browser.until("the hand has its time", hand).await;
    album.take("led-hand").await;
    let measured = "return document.querySelector('[data-live=hold]').textContent.startsWith('measured')";
    album.browser.until("it is being measured", measured).await;
    album.take("led-holding").await;
    album.browser.goto(&server.url("/")).await;
    act("back", &[]);
    let set = garage::sweep_by_tachometer(&server, &twin.job, curve).to_string();
    album.browser.goto(&bench).await;
    album.browser.click("[data-do=lead]").await;
    album.browser.until_text("listen").await;
    album.take("led-set").await;
    album.browser.goto(&server.url("/")).await;
    act("set", &[("turns", &set)]);
    album.page("led-trim", &bench).await;
    act("balanced", &[]);
    album.page("led-count", &bench).await;
}
