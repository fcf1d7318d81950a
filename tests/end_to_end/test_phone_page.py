"""The phone page in headless Chromium at the sizes of phones: what it shows, what its buttons send. Skipped (77) where there is no
Chromium. With HUSHTRACE_PICTURES=FOLDER it leaves pictures there."""
import os
import pathlib
import sys
import time

import small_browser
from phone_probe import Probe, until

if not small_browser.found():
    print("no chromium here")
    sys.exit(77)
program = pathlib.Path(os.environ["HUSHTRACE_BUILD_DIR"]) / "bin" / "share_probe"

# WCAG 2.1: relative luminance and contrast ratio; 7 to 1 is its stricter limit (1.4.6), which sun asks for
CONTRAST = """(() => {
  const part = (c) => { c /= 255; return c <= 0.03928 ? c / 12.92 : Math.pow((c + 0.055) / 1.055, 2.4); };
  const light = (rgb) => { const [r, g, b] = rgb.match(/[0-9.]+/g).map(Number); return 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b); };
  const ground = (one) => { for (; one; one = one.parentElement) { const c = getComputedStyle(one).backgroundColor;
    if (c !== 'rgba(0, 0, 0, 0)') return c; } return 'rgb(255, 255, 255)'; };
  return [...document.querySelectorAll('p, span, button, h1, summary')].filter((one) => one.offsetParent && !one.disabled).map((one) => {
    const [a, b] = [light(getComputedStyle(one).color), light(ground(one))].sort((x, y) => y - x);
    return [one.id || one.className || one.tagName, (a + 0.05) / (b + 0.05)]; });
})()"""
BUTTONS = """[...document.querySelectorAll('button')].filter((one) => one.offsetParent).map((one) => { const r = one.getBoundingClientRect();
  return [one.id, r.width, r.height, r.left, r.right, r.bottom, one.scrollWidth > one.clientWidth, r.top]; })"""


def fits(browser, width, height, name):
    """Nothing is cut off, every button is large enough for a thumb, the figure large enough for an arm's length."""
    browser.size(width, height)
    time.sleep(0.4)
    assert browser.value("document.documentElement.scrollWidth") <= width, name
    for id_, wide, high, left, right, bottom, cut, _ in browser.value(BUTTONS):
        assert high >= 64 and wide >= 64 and left >= 0 and right <= width and bottom <= height and not cut, (name, id_, wide, high, bottom)
    figure = browser.value("(() => { const r = document.getElementById('figure').getBoundingClientRect();"
                           " return [r.height, document.getElementById('unit').getBoundingClientRect().right, r.bottom, parseFloat(getComputedStyle(document.getElementById('value')).fontSize)]; })()")
    top_of_buttons = min(one[7] for one in browser.value(BUTTONS))
    long = len(browser.text("value") + browser.text("unit")) > 6
    assert figure[3] >= (0.12 if long else 0.19) * min(width, height) and figure[1] <= width, (name, figure)
    assert figure[2] <= top_of_buttons or width > height, (name, figure, top_of_buttons)
    browser.keep_picture(name)


def shows_figures(browser, probe):
    browser.size(390, 844)
    browser.dark(False)
    browser.go(probe.url)
    browser.until("document.getElementById('value') && document.getElementById('value').textContent !== '–'")
    assert browser.text("title").startswith("<b>Van</b> & \"sub\" </script>"), browser.text("title")   # a title is text, never markup
    assert browser.value("document.querySelectorAll('b, i').length") == 0
    assert browser.value("document.title") != "broken"
    assert browser.value("document.documentElement.lang") == "en"
    assert browser.value("document.getElementById('headline').getAttribute('aria-live')") == "polite"
    assert browser.text("headline") == "Step 5 of volume 22 is clean."
    assert (browser.text("value"), browser.text("unit")) == ("2.321", "V")            # the worse channel is the large one
    assert browser.text("whose") == "right▲ too muchvolume\u00a022"                                  # by word and shape, not by colour alone
    assert "left" in browser.text("others") and "2.345\u00a0V" in browser.text("others")
    assert "distortion\u00a01.9\u00a0%" in browser.text("beside")
    assert browser.text("found") == "Ceiling: step\u00a04, volume\u00a021, 2.000\u00a0V, 0.020\u00a0% distortion", browser.text("found")
    browser.until("document.getElementById('stored').textContent === 'Stored: 1'")      # the probe counts its phones here
    assert browser.text("link") == "✓ connected"
    for width, height in ((390, 844), (360, 640), (320, 568), (844, 390), (640, 360)):
        fits(browser, width, height, f"gain-{width}x{height}")
    for level, words in (("-17.25", "−17.3"), ("-120.34", "−120.3"), ("-7.5", "−7.5")):     # not calibrated: longer figures
        probe.ask(f"uncalibrated {level}")
        browser.until(f"document.getElementById('value').textContent === '{words}'")
        assert browser.text("unit") == "dBFS"
        for width, height in ((390, 844), (320, 568), (844, 390)):
            fits(browser, width, height, f"dbfs{level}-{width}x{height}")
    probe.ask("uncalibrated 0")
    browser.until("document.getElementById('unit').textContent === 'V'")
    for dark in (False, True):
        browser.dark(dark)
        browser.size(390, 844)
        low = [one for one in browser.value(CONTRAST) if one[1] < 7.0]
        assert not low, (dark, low)
        browser.keep_picture(f"gain-{'dark' if dark else 'light'}")
    browser.dark(False)


def buttons_ask(browser, probe):
    probe.ask("requests")
    for id_, word in (("big", "stepped_up"), ("second", "stepped_down"), ("mark", "mark")):
        browser.tap(id_)
        got = []
        until(lambda: got.extend(probe.ask("requests")) or got)
        assert got == [word], (id_, got)
        browser.until("document.getElementById('answer').textContent.startsWith('✓')")
    shown = [one[0] for one in browser.value(BUTTONS)]
    assert shown == ["big", "second", "mark", "stop"], shown     # the last minute is kept while a noise is followed
    browser.tap("stop")
    browser.until("document.getElementById('stop').textContent === 'Really stop?'")
    browser.keep_picture("stop-asks")
    time.sleep(0.2)
    assert probe.ask("requests") == []          # asked once first
    browser.tap("stop")
    got = []
    until(lambda: got.extend(probe.ask("requests")) or got)
    assert got == ["stop"], got
    probe.ask("state waiting")
    browser.until("document.getElementById('big').textContent === 'Start'")
    browser.keep_picture("waiting")
    browser.tap("big")
    got = []
    until(lambda: got.extend(probe.ask("requests")) or got)
    assert got == ["start"], got
    probe.ask("state running")


def follows(browser, probe):
    probe.ask("task follow")
    browser.until("document.getElementById('unit').textContent === 'dB'")
    assert browser.text("value") == "−6.2" and "quieter" in browser.text("beside"), browser.text("value")
    assert "lowest −70.1" in browser.text("found"), browser.text("found")
    for width, height in ((390, 844), (360, 640), (844, 390)):
        fits(browser, width, height, f"follow-{width}x{height}")
    browser.size(390, 844)
    for id_, word in (("big", "reference"), ("second", "arm"), ("keep", "keep")):
        browser.tap(id_)
        got = []
        until(lambda: got.extend(probe.ask("requests")) or got)
        assert got == [word], (id_, got)
    probe.ask("task gain")


with Probe(program) as one, small_browser.Browser() as chromium:
    shows_figures(chromium, one)
    buttons_ask(chromium, one)
    follows(chromium, one)
    assert not chromium.complaints, chromium.complaints
print("the page shows its figures, and its buttons ask")
