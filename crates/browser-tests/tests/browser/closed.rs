//! Nothing from outside, nothing of a stranger's making.

use bellmouth_browser_tests::engine_sound::Idling;
use bellmouth_browser_tests::garage::{self, Bike, Entered, TWIN};
use bellmouth_browser_tests::{Browser, Server, Setup, folder};

use crate::keys::type_reading;

const NASTY: &str = r#"<script>alert(1)</script>"'&<b>"#;

/// Every page that a job has, and the garage's own.
fn pages(entered: &Entered) -> Vec<String> {
    let job = &entered.job;
    let tails = ["", "/found", "/screw", "/check", "/idle", "/left", "/alarm"];
    let mut pages: Vec<String> = ["/", "/machine/new", "/cautions"].map(String::from).to_vec();
    pages.push(entered.machine.clone());
    pages.extend(tails.iter().map(|tail| format!("{job}{tail}")));
    pages
}

#[tokio::test]
async fn no_page_asks_anything_of_another_machine_and_none_complains() {
    let sound = folder("sound").join("idle.wav");
    Idling::twin_45(1100.0, 60.0).write_wav(&sound);
    let server = Server::demo();
    let entered = garage::ready(&server, TWIN);
    let browser = Browser::open(Setup { microphone: Some(sound), offline: true }).await;
    let mut asked = 0;
    for page in pages(&entered) {
        browser.goto(&server.url(&page)).await;
        if page.ends_with("/idle") {
            type_reading(&browser, "2", "1040").await;
            browser.click("[data-do=listen]").await;
            browser
                .until(
                    "the engine is heard",
                    "return Number(document.querySelector('[data-live=rpm]').textContent) > 1000",
                )
                .await;
        }
        let requests = browser
            .run(
                "return [...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]
                     .map(entry => [entry.name, entry.responseStatus])",
            )
            .await;
        for request in requests.as_array().expect("a list of requests") {
            let (address, status) =
                (request[0].as_str().unwrap_or_default(), request[1].as_u64().unwrap_or(0));
            assert!(address.starts_with(&server.url("/")), "{page} asks {address}");
            assert!((200..400).contains(&status), "{page}: {address} answered {status}");
            asked += 1;
        }
        assert_eq!(browser.console().await, Vec::<String>::new(), "{page}");
    }
    // A page, its style and its fonts at the least, on each of eleven pages.
    assert!(30 < asked, "{asked} requests were seen");
}

#[tokio::test]
async fn a_script_that_was_slipped_into_a_page_does_not_run() {
    let server = Server::new();
    let entered = garage::ready(&server, TWIN);
    let browser = Browser::plain().await;
    for page in pages(&entered) {
        browser.goto(&server.url(&page)).await;
        browser
            .run(
                "const inline = document.createElement('script');
                 inline.textContent = 'window.ran = true';
                 document.body.append(inline);
                 const image = document.createElement('img');
                 image.setAttribute('onerror', 'window.ran = true');
                 image.src = '/assets/none.png';
                 document.body.append(image);
                 const foreign = document.createElement('script');
                 foreign.src = 'http://127.0.0.1:9/foreign.js';
                 document.body.append(foreign);",
            )
            .await;
        tokio::time::sleep(std::time::Duration::from_millis(150)).await;
        assert_eq!(browser.run("return window.ran === undefined").await, true, "{page}");
        let console = browser.console().await.join("\n");
        assert!(console.contains("Content Security Policy"), "{page}: {console}");
    }
}

#[tokio::test]
async fn a_name_made_of_markup_is_shown_as_text_everywhere() {
    let server = Server::new();
    let entered = garage::ready(&server, Bike { name: NASTY, ..TWIN });
    let browser = Browser::plain().await;
    browser.goto(&server.url(&entered.bench())).await;
    type_reading(&browser, "1.75", "1010").await;
    type_reading(&browser, "2.25", "1045").await;
    for page in pages(&entered) {
        browser.goto(&server.url(&page)).await;
        let own = browser.run("return [...document.scripts].every(script => script.src.startsWith(location.origin)) && !document.querySelector('nav b, h1 b, .what b')").await;
        assert_eq!(own, true, "{page} took the name for markup");
        let without_name = ["/machine/new", "/cautions", "/alarm"];
        if !without_name.iter().any(|tail| page.ends_with(tail)) {
            assert!(browser.text().await.contains(NASTY), "{page} does not show the name as it is");
        }
    }
    for file in ["readings.csv", "sweep.json"] {
        let answer = server.get(&format!("{}/{file}", entered.job));
        assert_eq!(answer.status, 200, "{}", answer.body);
        assert!(!answer.body.contains("<script>"), "{}", answer.body);
        assert_eq!(answer.header("x-content-type-options"), "nosniff");
    }
    // The same through a refused form: what was typed comes back as text.
    let fields = [
        ("id", "no key"),
        ("name", NASTY),
        ("layout", "<b>"),
        ("cooling", ""),
        ("carburettors", NASTY),
        ("base_turns", NASTY),
    ];
    let refused = server.post("/machine/new", &fields);
    assert!(refused.status == 400 && !refused.body.contains("<script>alert"), "{}", refused.body);
}
