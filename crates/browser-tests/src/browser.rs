//! Chromium under its driver: one driver, one browser and one profile each.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use fantoccini::elements::Element;
use fantoccini::wd::{Capabilities, WebDriverCompatibleCommand};
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};

use crate::http;

/// How long anything may take before a test gives up; far beyond what it takes.
pub const PATIENCE: Duration = Duration::from_secs(30);

/// What a browser is started with.
#[derive(Clone, Debug, Default)]
pub struct Setup {
    /// The sound its microphone gives; without it, a beep of the browser's own.
    pub microphone: Option<PathBuf>,
    /// Whether every name but this machine's own fails to resolve.
    pub offline: bool,
}

/// A browser with a page open; it ends when this is dropped.
pub struct Browser {
    client: Client,
    driver: Child,
    driver_host: String,
    session: String,
    profile: PathBuf,
}

/// Finds a program by its names, in `BELLMOUTH_TOOLS` first.
fn tool(names: &[&str]) -> PathBuf {
    let own = std::env::var_os("BELLMOUTH_TOOLS").unwrap_or_default();
    let path = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&own)
        .chain(std::env::split_paths(&path))
        .flat_map(|folder| names.iter().map(move |name| folder.join(name)))
        .find(|candidate| candidate.is_file())
        .unwrap_or_else(|| {
            panic!("`{}` is not on this machine: run scripts/test, which installs it", names[0])
        })
}

impl Browser {
    /// Starts one.
    pub async fn open(setup: Setup) -> Browser {
        let chromium = tool(&["chromium", "chromium-browser", "google-chrome"]);
        let mut driver = Command::new(tool(&["chromedriver"]))
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the driver starts");
        let mut lines = BufReader::new(driver.stdout.take().expect("stdout is piped")).lines();
        let port = lines.by_ref().map_while(Result::ok).find_map(|line| {
            let port = line.split("on port ").nth(1)?;
            // It first repeats the port it was asked for, 0, and then names the one it found.
            port.trim_end_matches('.').parse::<u16>().ok().filter(|port| *port != 0)
        });
        std::thread::spawn(move || lines.map_while(Result::ok).for_each(drop));
        let Some(port) = port else {
            let _ = driver.kill();
            panic!("chromedriver ended without naming its port");
        };
        let driver_host = format!("127.0.0.1:{port}");
        let profile = crate::folder("profile");
        let connected = ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities(&chromium, &profile, &setup))
            .connect(&format!("http://{driver_host}"))
            .await;
        let client = connected.unwrap_or_else(|error| {
            let _ = driver.kill();
            panic!("chromium does not start: {error}");
        });
        let session = client.session_id().await.expect("a session has an id").expect("a session is open");
        Browser { client, driver, driver_host, session, profile }
    }

    /// Starts one without a microphone file.
    pub async fn plain() -> Browser {
        Browser::open(Setup::default()).await
    }

    /// Opens an address.
    pub async fn goto(&self, url: &str) {
        self.client.goto(url).await.unwrap_or_else(|error| panic!("{url}: {error}"));
    }

    /// The address that is open, without the host.
    pub async fn path(&self) -> String {
        self.client.current_url().await.expect("a page is open").path().to_string()
    }

    /// The first element that matches, waited for.
    pub async fn find(&self, css: &str) -> Element {
        match self
            .client
            .wait()
            .at_most(PATIENCE)
            .every(Duration::from_millis(50))
            .for_element(Locator::Css(css))
            .await
        {
            Ok(element) => element,
            Err(error) => panic!("no `{css}` on {}: {error}\n{}", self.path().await, self.text().await),
        }
    }

    /// Clicks the first element that matches, tried again while the page is being redrawn.
    pub async fn click(&self, css: &str) {
        let begun = Instant::now();
        loop {
            match self.find(css).await.click().await {
                Ok(()) => return,
                Err(_) if begun.elapsed() < PATIENCE => tokio::time::sleep(Duration::from_millis(50)).await,
                Err(error) => panic!("`{css}` cannot be clicked: {error}"),
            }
        }
    }

    /// Clicks what leads to another page, and waits for that page's path to end so.
    pub async fn leave_by(&self, css: &str, path_ends: &str) {
        self.click(css).await;
        let begun = Instant::now();
        while !self.path().await.ends_with(path_ends) {
            assert!(begun.elapsed() < PATIENCE, "`{css}` led to {}, not to …{path_ends}", self.path().await);
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Types into the first field that matches, in place of what it holds; anew when the page was
    /// redrawn meanwhile.
    pub async fn fill(&self, css: &str, text: &str) {
        let begun = Instant::now();
        loop {
            let field = self.find(css).await;
            let typed = async {
                field.clear().await?;
                field.send_keys(text).await?;
                field.prop("value").await
            };
            match typed.await {
                Ok(Some(value)) if value == text => return,
                other => assert!(begun.elapsed() < PATIENCE, "`{css}` does not take \"{text}\": {other:?}"),
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Presses a key of the keyboard while no field has the focus.
    pub async fn press(&self, key: &str) {
        self.run("document.activeElement?.blur()").await;
        self.find("body").await.send_keys(key).await.unwrap_or_else(|error| panic!("{key}: {error}"));
    }

    /// Runs a script in the page; a promise is waited for.
    pub async fn run(&self, script: &str) -> Value {
        self.client.execute(script, vec![]).await.unwrap_or_else(|error| panic!("{script}: {error}"))
    }

    /// What a person reads on the page.
    pub async fn text(&self) -> String {
        self.run("return document.body.innerText").await.as_str().unwrap_or_default().to_string()
    }

    /// What a person reads in the first element that matches; empty when there is none.
    pub async fn text_of(&self, css: &str) -> String {
        let found =
            self.run(&format!("return document.querySelector({})?.innerText ?? ''", json!(css))).await;
        found.as_str().unwrap_or_default().to_string()
    }

    /// Waits until a script says true.
    pub async fn until(&self, what: &str, script: &str) {
        self.until_within(PATIENCE, what, script).await;
    }

    /// Waits until a script says true, so long at most.
    pub async fn until_within(&self, patience: Duration, what: &str, script: &str) {
        let begun = Instant::now();
        loop {
            // While a page is being left, its script has no place to run: that is not yet an answer.
            let said = self.client.execute(script, vec![]).await;
            if said.as_ref().is_ok_and(|said| said == &Value::Bool(true)) {
                return;
            }
            assert!(
                begun.elapsed() < patience,
                "waited in vain until {what}; last answer {said:?}; on {}:\n{}",
                self.path().await,
                self.text().await
            );
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
    }

    /// Waits until the page shows some words.
    pub async fn until_text(&self, words: &str) {
        let script = format!("return document.body.innerText.includes({})", json!(words));
        self.until(&format!("the page says \"{words}\""), &script).await;
    }

    /// Opens another tab and goes to it; gives back the old one's handle.
    pub async fn new_tab(&self) -> (fantoccini::wd::WindowHandle, fantoccini::wd::WindowHandle) {
        let old = self.client.window().await.expect("a window is open");
        let new = self.client.new_window(true).await.expect("a tab can be opened").handle;
        self.client.switch_to_window(new.clone()).await.expect("a tab can be chosen");
        (old, new)
    }

    /// Goes to a tab.
    pub async fn tab(&self, handle: &fantoccini::wd::WindowHandle) {
        self.client.switch_to_window(handle.clone()).await.expect("a tab can be chosen");
    }

    /// Closes the tab that is open.
    pub async fn close_tab(&self) {
        self.client.close_window().await.expect("a tab can be closed");
    }

    /// Sends a command of the browser's own debugging protocol.
    pub async fn command(&self, name: &str, parameters: Value) -> Value {
        let call = Call { tail: "goog/cdp/execute", body: json!({ "cmd": name, "params": parameters }) };
        self.client.issue_cmd(call).await.unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    /// Runs a script in every page from now on, before any script of the page's own.
    pub async fn before_every_page(&self, script: &str) {
        self.command("Page.addScriptToEvaluateOnNewDocument", json!({ "source": script })).await;
    }

    /// What the console said since the last time it was asked, warnings and errors.
    pub async fn console(&self) -> Vec<String> {
        let call = Call { tail: "se/log", body: json!({ "type": "browser" }) };
        let entries = self.client.issue_cmd(call).await.expect("the console can be read");
        let entries = entries.as_array().cloned().unwrap_or_default();
        entries.iter().map(|entry| format!("{} {}", entry["level"], entry["message"])).collect()
    }

    /// The whole page as PNG, at the size and scheme set by [`Browser::look`].
    pub async fn picture(&self) -> Vec<u8> {
        let metrics = self.command("Page.getLayoutMetrics", json!({})).await;
        let (width, height) =
            (&metrics["cssLayoutViewport"]["clientWidth"], &metrics["cssContentSize"]["height"]);
        let clip = json!({ "x": 0, "y": 0, "width": width, "height": height, "scale": 1 });
        self.capture(json!({ "format": "png", "captureBeyondViewport": true, "clip": clip })).await
    }

    /// What of the page is seen without scrolling, as PNG.
    pub async fn screen(&self) -> Vec<u8> {
        self.capture(json!({ "format": "png" })).await
    }

    async fn capture(&self, wanted: Value) -> Vec<u8> {
        use base64::Engine;
        let taken = self.command("Page.captureScreenshot", wanted).await;
        let data = taken["data"].as_str().expect("a picture has data");
        base64::engine::general_purpose::STANDARD.decode(data).expect("a picture is base64")
    }

    /// Sets size and scheme of the page.
    pub async fn look(&self, width: u32, height: u32, dark: bool) {
        let metrics =
            json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600 });
        self.command("Emulation.setDeviceMetricsOverride", metrics).await;
        let scheme = if dark { "dark" } else { "light" };
        let features = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        self.command("Emulation.setEmulatedMedia", features).await;
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The driver ends its browser when the session is deleted; killed first, it would leave it running.
        let _ = http::request(&self.driver_host, "DELETE", &format!("/session/{}", self.session), "", "");
        let _ = self.driver.kill();
        let _ = self.driver.wait();
        let _ = std::fs::remove_dir_all(&self.profile);
    }
}

fn capabilities(chromium: &Path, profile: &Path, setup: &Setup) -> Capabilities {
    let mut arguments: Vec<String> = [
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--disable-dev-shm-usage",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--force-color-profile=srgb",
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
    ]
    .map(String::from)
    .to_vec();
    arguments.push(format!("--user-data-dir={}", profile.display()));
    if let Some(sound) = &setup.microphone {
        arguments.push(format!("--use-file-for-fake-audio-capture={}", sound.display()));
    }
    if setup.offline {
        arguments.push("--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost".into());
    }
    let wanted = json!({
        "goog:chromeOptions": { "args": arguments, "binary": chromium },
        "goog:loggingPrefs": { "browser": "ALL" },
    });
    match wanted {
        Value::Object(capabilities) => capabilities,
        _ => Capabilities::new(),
    }
}

/// A command of the driver's own that the standard does not name.
#[derive(Debug)]
struct Call {
    tail: &'static str,
    body: Value,
}

impl WebDriverCompatibleCommand for Call {
    fn endpoint(&self, base: &url::Url, session: Option<&str>) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/{}", session.unwrap_or_default(), self.tail))
    }

    fn method_and_body(&self, _: &url::Url) -> (::http::Method, Option<String>) {
        (::http::Method::POST, Some(self.body.to_string()))
    }
}
