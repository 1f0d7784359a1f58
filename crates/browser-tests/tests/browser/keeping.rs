//! What was shown as saved stays saved, whatever happens to page, tab or program.

use std::process::Command;

use bellmouth_browser_tests::garage::{self, TWIN};
use bellmouth_browser_tests::server::program;
use bellmouth_browser_tests::{Browser, Server};

use crate::keys::type_reading;

const ROWS: &str = "document.querySelectorAll('#part-more tbody tr').length";

#[tokio::test]
async fn a_closed_page_goes_on_where_it_was_and_a_killed_program_loses_nothing_saved() {
    let mut server = Server::new();
    let job = garage::ready(&server, TWIN).job;
    let bench = server.url(&format!("{job}/idle"));
    let browser = Browser::plain().await;
    browser.goto(&bench).await;
    type_reading(&browser, "1.75", "1010").await;
    browser.click("[data-key=main]").await;
    browser.until_text("Hands off").await;
    let instruction = browser.text_of("#part-say").await;

    let (first, _second) = browser.new_tab().await;
    let second = browser.new_tab().await.0;
    browser.tab(&first).await;
    browser.close_tab().await;
    browser.tab(&second).await;
    browser.goto(&bench).await;
    assert_eq!(browser.text_of("#part-say").await, instruction, "the hold goes on");
    assert_eq!(browser.run(&format!("return {ROWS}")).await, 1);

    for (killed, (turns, rpm)) in [("2.25", "1045"), ("2", "1040"), ("1.5", "985")].into_iter().enumerate() {
        type_reading(&browser, turns, rpm).await;
        server.kill();
        browser
            .until(
                "the page says that the bench is out of reach",
                "return !document.querySelector('#notice-link').hidden",
            )
            .await;
        server.restart();
        browser
            .until("the page is back by itself", "return document.querySelector('#notice-link').hidden")
            .await;
        browser.goto(&bench).await;
        assert_eq!(browser.run(&format!("return {ROWS}")).await, killed + 2);
        assert!(browser.text_of("#part-more tbody tr").await.contains(rpm));
    }
}

#[tokio::test]
async fn a_form_sent_twice_is_stored_once() {
    let server = Server::new();
    let job = garage::ready(&server, TWIN).job;
    let browser = Browser::plain().await;
    browser.goto(&server.url(&format!("{job}/idle"))).await;
    let statuses = browser
        .run(
            "const form = document.querySelector('details[data-key=typed] form');
             form.elements.rpm.value = '1010';
             const send = () => fetch(form.action, { method: 'POST', headers: { accept: 'application/json' },
                 body: new URLSearchParams(new FormData(form)) }).then(answer => answer.status);
             return Promise.all([send(), send(), send()]).then(async (three) => [...three, await send()])",
        )
        .await;
    assert_eq!(statuses, serde_json::json!([200, 200, 200, 200]));
    browser.until("one reading is shown", &format!("return {ROWS} === 1")).await;
    // Two keys pressed in one breath, as a bouncing switch does.
    browser.run("const key = document.querySelector('[data-key=main]'); key.click(); key.click();").await;
    browser.until_text("Hands off").await;
    let again = server.get(&format!("{job}/readings.csv")).body;
    assert_eq!(again.lines().count(), 2, "{again}");

    // The same machine entered twice is one machine.
    let id = garage::fresh_key();
    let fields = [
        ("id", id.as_str()),
        ("name", "twice"),
        ("layout", ""),
        ("cooling", "air"),
        ("carburettors", "2"),
        ("base_turns", ""),
    ];
    let (one, two) = (server.post("/machine/new", &fields), server.post("/machine/new", &fields));
    assert_eq!((one.status, one.header("location")), (two.status, two.header("location")));
    assert_eq!(server.get("/").body.matches(">twice").count(), 1);
}

#[tokio::test]
async fn a_second_tab_sees_the_change_and_its_stale_form_is_refused() {
    let server = Server::new();
    let job = garage::ready(&server, TWIN).job;
    let browser = Browser::plain().await;
    let bench = server.url(&format!("{job}/idle"));
    browser.goto(&bench).await;
    let (first, second) = browser.new_tab().await;
    browser.goto(&bench).await;
    type_reading(&browser, "2.25", "1045").await;
    browser.tab(&first).await;
    browser.until("the first tab shows the reading by itself", &format!("return {ROWS} === 1")).await;

    // Both look at the count; the first changes it, and the second would overwrite that unseen.
    let found = server.url(&format!("{job}/found"));
    browser.goto(&found).await;
    browser.tab(&second).await;
    browser.goto(&found).await;
    browser.click("[data-step='0.125']").await;
    browser.leave_by("form .key.main", "/screw").await;
    browser.tab(&first).await;
    browser.click("[data-step='1']").await;
    browser.click("form .key.main").await;
    browser.find("[role=alert]").await;
    let told = browser.text_of("[role=alert]").await;
    assert!(told.contains("changed") && told.len() > 40, "{told}");
    assert!(server.get(&job).body.contains("1⅞"), "the first change stands");
}

#[test]
fn a_second_program_on_the_same_logbook_is_refused_with_a_sentence() {
    let server = Server::new();
    let second = Command::new(program())
        .args(["serve", "--address", "127.0.0.1:0", "--logbook"])
        .arg(server.logbook())
        .output()
        .expect("the program starts");
    let told = String::from_utf8_lossy(&second.stderr);
    assert_eq!(second.status.code(), Some(3), "{told}");
    assert!(told.contains("bench.db") && told.len() > 40, "{told}");
    assert_eq!(server.get("/").status, 200, "the first goes on");
}
