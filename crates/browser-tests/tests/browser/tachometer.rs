//! Without a microphone: typed speeds, through to as left; and the two kinds of screw.

use bellmouth_browser_tests::garage::{self, Bike, TWIN, plateau_rpm};
use bellmouth_browser_tests::{Browser, Server};

/// The same plateau on a fuel screw and, mirrored about two turns, on an air screw.
const EDGE: f64 = 1.75;
fn by_fuel_screw(turns: f64) -> f64 {
    plateau_rpm(turns, EDGE)
}
fn by_air_screw(turns: f64) -> f64 {
    by_fuel_screw(4.0 - turns)
}

#[tokio::test]
async fn an_engine_that_no_microphone_hears_is_set_by_its_tachometer() {
    let server = Server::new();
    let bike = Bike { name: "the old single", layout: "", found: "1.25", about_rpm: "1000", ..TWIN };
    let job = garage::ready(&server, bike).job;
    let browser = Browser::plain().await;
    browser.goto(&server.url(&format!("{job}/idle"))).await;
    let mut readings = 0;
    let set = loop {
        let asked = browser
            .run("const form = document.querySelector('[data-key=main]').form;
                  return { action: form.action.split('/').at(-1), turns: Number(form.elements.turns?.value) }")
            .await;
        let turns = asked["turns"].as_f64().expect("the main key names a position");
        if asked["action"] == "set" {
            break turns;
        }
        readings += 1;
        assert!(readings <= 14, "14 readings were not enough");
        if browser.run("return document.querySelector('details[data-key=typed]').open").await == false {
            browser.click("details[data-key=typed] > summary").await;
        }
        browser.fill("details[data-key=typed] input[name=turns]", &turns.to_string()).await;
        browser
            .fill("details[data-key=typed] input[name=rpm]", &format!("{:.0}", by_fuel_screw(turns)))
            .await;
        browser.click("details[data-key=typed] button").await;
        let count = format!("return document.querySelectorAll('#part-more tbody tr').length === {readings}");
        browser.until(&format!("reading {readings} is saved"), &count).await;
        // Saved readings and the key for the next come in one go; the form is free again after that.
        browser.until("the keys are free", "return !document.querySelector('form.busy')").await;
    };
    bellmouth_browser_tests::figure(&format!(
        "enough after {readings} typed readings, set to {set} turns; true edge {EDGE}"
    ));
    assert!((EDGE - 0.125..=EDGE + 0.625).contains(&set), "set to {set}");

    browser.click("[data-key=main]").await;
    browser.until_text("Engine off").await;
    browser.leave_by("a[data-key=main]", "/left").await;
    browser.click("form .key.main").await;
    browser.until_text("counted to the seat, as set").await;
    let page = browser.text().await;
    for words in ["Finding", "gain over as found", "The way back", "Found at 1¼ turns out", "lean edge"] {
        assert!(page.contains(words), "no \"{words}\" in {page}");
    }
    assert!(page.contains("that is in"), "the way back is in: {page}");
    browser.goto(&server.url("/")).await;
    browser.until_text("left at").await;
}

#[tokio::test]
async fn a_fuel_screw_and_an_air_screw_on_one_machine_get_the_same_advice() {
    let server = Server::new();
    let fuel = garage::ready(&server, Bike { name: "by fuel screw", found: "1.5", ..TWIN });
    let air = garage::ready(&server, Bike { name: "by air screw", screw: "air", found: "2.5", ..TWIN });
    let fuel_set = garage::sweep_by_tachometer(&server, &fuel.job, by_fuel_screw);
    let air_set = garage::sweep_by_tachometer(&server, &air.job, by_air_screw);
    bellmouth_browser_tests::figure(&format!(
        "set to {fuel_set} turns by fuel screw, {air_set} by air screw"
    ));
    assert!((fuel_set - (4.0 - air_set)).abs() <= 0.125, "{fuel_set} and {air_set} are not the same mixture");

    let browser = Browser::plain().await;
    let mut findings = Vec::new();
    for entered in [&fuel, &air] {
        browser.goto(&server.url(&format!("{}/left", entered.job))).await;
        browser.until_text("Finding").await;
        let named = "return [...document.querySelectorAll('section.card b')].find(b => b.parentElement.textContent.includes('%')).textContent";
        findings.push(browser.run(named).await);
    }
    assert_eq!(findings[0], findings[1], "the same machine, two findings");
}
