"""The phone page in headless Chromium when the connection is lost: it says so, dials again by itself, and misses nothing. Skipped
(77) where there is no Chromium. With HUSHTRACE_PICTURES=FOLDER it leaves pictures there."""
import os
import pathlib
import signal
import sys
import time

import small_browser
from phone_probe import Network, Probe

if not small_browser.found():
    print("no chromium here")
    sys.exit(77)
program = pathlib.Path(os.environ["HUSHTRACE_BUILD_DIR"]) / "bin" / "share_probe"


def comes_back(browser, probe):
    """The laptop hangs, or the phone leaves the network for a while: the page says so, comes back and misses nothing."""
    probe.ask("pause")      # it is connected, but nothing is measured
    browser.until("document.getElementById('link').textContent.includes('no figures since')", seconds=6)
    probe.ask("go")
    browser.until("document.getElementById('link').textContent === '✓ connected'")
    probe.ask("tell 3")
    browser.until("document.querySelectorAll('#happened li').length === 3")
    assert browser.text("newest") == "1.5 s  Step <i>reached</i>."
    stopped_at = time.monotonic()
    os.kill(probe.process.pid, signal.SIGSTOP)
    try:
        browser.tap("big")
        browser.until("document.getElementById('link').textContent.includes('not connected since')", seconds=6)
        assert browser.value("document.body.className") == "lost"
        browser.keep_picture("lost")
        browser.until("document.getElementById('answer').textContent.startsWith('✗ Not sent')", seconds=8)
        time.sleep(max(0.0, stopped_at + 9.0 - time.monotonic()))     # beyond the time after which the page dials anew
    finally:
        os.kill(probe.process.pid, signal.SIGCONT)
    probe.ask("tell 4")
    browser.until("document.getElementById('link').textContent === '✓ connected'", seconds=8)
    browser.until("document.querySelectorAll('#happened li').length === 7")
    time.sleep(0.3)
    assert browser.value("document.querySelectorAll('#happened li').length") == 7


def redials(browser, probe):
    """The connection breaks, and for a while there is none: the browser dials again, and no event is missing or twice."""
    network = Network(probe)
    browser.go(probe.url.replace("127.0.0.1", "127.0.0.5"))
    browser.until("document.getElementById('link') && document.getElementById('link').textContent === '✓ connected'")
    browser.until("document.querySelectorAll('#happened li').length === 7")     # opened anew, it has all
    network.cut()
    browser.until("document.getElementById('link').textContent.includes('not connected since')", seconds=3)
    probe.ask("tell 5")
    time.sleep(1.5)
    network.up = True
    browser.until("document.getElementById('link').textContent === '✓ connected'", seconds=4)
    browser.until("document.querySelectorAll('#happened li').length === 12")
    browser.go("about:blank")
    browser.until("location.href === 'about:blank'")


with Probe(program) as one, small_browser.Browser() as chromium:
    chromium.size(390, 844)
    chromium.go(one.url)
    chromium.until("document.getElementById('link') && document.getElementById('link').textContent === '✓ connected'")
    comes_back(chromium, one)
    redials(chromium, one)
    chromium.go(one.url)
    chromium.until("document.getElementById('link') && document.getElementById('link').textContent === '✓ connected'")
    one.close()
    chromium.until("document.getElementById('link').textContent === 'ended'")
    chromium.until("document.getElementById('big').disabled && document.getElementById('stop').disabled")
    chromium.keep_picture("ended")
print("the page comes back and misses nothing")
