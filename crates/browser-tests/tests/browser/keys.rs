//! The keys of the bench, one after another.

use bellmouth_browser_tests::garage::{self, TWIN};
use bellmouth_browser_tests::{Browser, Server};

/// Types one reading at a position and waits until it is shown as saved.
pub(crate) async fn type_reading(browser: &Browser, turns: &str, rpm: &str) {
    let count = "return document.querySelectorAll('#part-more tbody tr').length";
    let before = browser.run(count).await.as_u64().unwrap_or(0);
    if browser.run("return document.querySelector('details[data-key=typed]').open").await == false {
        browser.click("details[data-key=typed] > summary").await;
    }
    browser.fill("details[data-key=typed] input[name=turns]", turns).await;
    browser.fill("details[data-key=typed] input[name=rpm]", rpm).await;
    browser.click("details[data-key=typed] button").await;
    browser.until("the reading is saved", &format!("{count} === {}", before + 1)).await;
    browser.until("the keys are free", "return !document.querySelector('form.busy')").await;
}

async fn open_amend(browser: &Browser) {
    browser.click("#part-more tbody tr:first-child td.act summary").await;
}

#[tokio::test]
async fn every_key_of_the_bench_does_what_it_says() {
    let server = Server::new();
    let job = garage::ready(&server, TWIN).job;
    let browser = Browser::plain().await;
    browser.goto(&server.url(&format!("{job}/idle"))).await;
    type_reading(&browser, "1.75", "1010").await;
    type_reading(&browser, "2.25", "1045").await;
    type_reading(&browser, "2", "1040").await;
    let curve = "return document.querySelector('#part-curve svg').outerHTML";
    let whole = browser.run(curve).await;

    // Strike: the reading stays, marked, and the curve is fitted without it; and back again.
    open_amend(&browser).await;
    browser.click("#part-more tbody tr:first-child form[action$='/strike'] button").await;
    browser
        .until(
            "it is marked",
            "return document.querySelector('#part-more tbody tr:first-child').classList.contains('struck')",
        )
        .await;
    browser
        .until("the drawing marks it", "return document.querySelector('#part-curve .struck') !== null")
        .await;
    assert_ne!(browser.run(curve).await, whole, "the curve was not fitted anew");
    browser.click("#part-more tbody tr.struck form[action$='/unstrike'] button").await;
    browser
        .until("no reading is struck", "return document.querySelector('#part-more .struck') === null")
        .await;
    browser.until("the curve is the one before", &format!("{curve} === {whole}")).await;

    // I miscounted: it moves, and the first count is kept beside it.
    open_amend(&browser).await;
    browser
        .fill("#part-more tbody tr:first-child form[action$='/miscounted'] input[name=turns]", "1.875")
        .await;
    browser.click("#part-more tbody tr:first-child form[action$='/miscounted'] button").await;
    browser.until("the count is corrected", "return document.querySelector('#part-more tbody tr:first-child').innerText.includes('counted 2')").await;
    assert!(browser.text_of("#part-more tbody tr:first-child").await.contains("1⅞"));

    // Wrong way: the last reading was taken at 2 coming from 2¼, so it belongs at 2½.
    type_reading(&browser, "1.5", "960").await;
    browser.click("details[data-key=switches] > summary").await;
    browser.click("form[action$='/wrong-way'] button").await;
    browser
        .until(
            "the reading is mirrored about 1⅞",
            "return document.querySelector('#part-more tbody tr:first-child').innerText.includes('2¼')",
        )
        .await;

    // A stall, with its reason: richer than where it already ran worse.
    browser.press("d").await;
    browser.click("form[action$='/died'] input[value=rich] ~ button").await;
    browser.until("the stall is saved", "return document.querySelector('#part-more tbody tr:first-child').innerText.includes('died, rich')").await;

    // A hold that was begun is given up by going back.
    browser.click("form[action$='/hold'] [data-key=main]").await;
    browser.until_text("Hands off").await;
    browser.click("[data-key=back]").await;
    browser
        .until(
            "the hold is given up",
            "return document.querySelector('form[action$=\"/hold\"] [data-key=main]') !== null",
        )
        .await;

    // Pause and go on; by the keyboard, as a foot switch would.
    browser.press("p").await;
    browser.until_text("the engine is not: only the kill switch stops it").await;
    browser.click("form[action$='/resume'] [data-key=resume]").await;
    browser.until("it goes on", "return document.querySelector('[data-key=pause]') !== null").await;

    // The alarm, and back, with every reading kept.
    let rows = "return document.querySelectorAll('#part-more tbody tr').length";
    let saved = browser.run(rows).await;
    browser.leave_by("[data-key=alarm]", "/alarm").await;
    browser.until_text("Kill switch. Engine off now.").await;
    assert!(!browser.text().await.contains("rpm"), "nothing but the alarm stands on this page");
    browser.goto(&server.url(&format!("{job}/idle"))).await;
    assert!(browser.path().await.ends_with("/alarm"), "the bench stays shut until all are well");
    browser.leave_by("form .key", "/idle").await;
    assert_eq!(browser.run(rows).await, saved);
    assert_eq!(browser.console().await, Vec::<String>::new());
}
