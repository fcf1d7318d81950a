"""Headless Chromium, steered by its DevTools protocol through a pair of pipes (--remote-debugging-pipe): JSON, ended by NUL."""
import base64
import json
import os
import select
import shutil
import subprocess
import tempfile
import time


def found():
    return shutil.which("chromium") or shutil.which("chromium-browser")


class Browser:
    def __init__(self):
        to_read, self.to = os.pipe()
        self.come, to_write = os.pipe()
        high = [os.dup(to_read), os.dup(to_write)]
        while min(high) < 10:
            high = [os.dup(one) for one in high]

        def as_3_and_4():
            os.dup2(high[0], 3)
            os.dup2(high[1], 4)
        self.profile = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        self.process = subprocess.Popen(
            [found(), "--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
             "--disable-component-update", "--disable-extensions", "--disable-sync", "--disable-dev-shm-usage", "--no-proxy-server",
             "--hide-scrollbars", f"--user-data-dir={self.profile.name}", "--remote-debugging-pipe", "about:blank"],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, preexec_fn=as_3_and_4, pass_fds=(3, 4))
        for one in (to_read, to_write, *high):
            os.close(one)
        self.number, self.unread, self.complaints, self.session = 0, b"", [], None
        target = next(one for one in self._until_page() if one["type"] == "page")
        self.session = self.ask("Target.attachToTarget", targetId=target["targetId"], flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log"):
            self.ask(domain + ".enable")

    def _until_page(self):
        for _ in range(200):
            targets = self.ask("Target.getTargets")["targetInfos"]
            if any(one["type"] == "page" for one in targets):
                return targets
            time.sleep(0.05)
        raise AssertionError("the browser opens no page")

    def ask(self, method, **words):
        self.number += 1
        message = {"id": self.number, "method": method, "params": words}
        if self.session:
            message["sessionId"] = self.session
        os.write(self.to, json.dumps(message).encode() + b"\0")
        end = time.monotonic() + 30
        while True:
            answer = self._next(end)
            if answer.get("id") == self.number:
                assert "error" not in answer, (method, answer["error"])
                return answer["result"]
            if answer.get("method") == "Runtime.exceptionThrown":
                self.complaints.append(answer["params"]["exceptionDetails"])
            if answer.get("method") == "Log.entryAdded" and answer["params"]["entry"]["level"] == "error":
                self.complaints.append(answer["params"]["entry"]["text"])

    def _next(self, end):
        while b"\0" not in self.unread:
            assert select.select([self.come], [], [], max(0.0, end - time.monotonic()))[0], "the browser says nothing"
            part = os.read(self.come, 1 << 20)
            assert part, "the browser is gone"
            self.unread += part
        one, self.unread = self.unread.split(b"\0", 1)
        return json.loads(one)

    # ---- what a test does with a page
    def size(self, width, height):
        self.ask("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=2, mobile=True,
                 screenOrientation={"type": "portraitPrimary" if height > width else "landscapePrimary", "angle": 0})
        self.ask("Emulation.setTouchEmulationEnabled", enabled=True)

    def dark(self, yes):
        self.ask("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": "dark" if yes else "light"}])

    def go(self, url):
        self.ask("Page.navigate", url=url)

    def value(self, expression):
        result = self.ask("Runtime.evaluate", expression=expression, returnByValue=True)
        assert "exceptionDetails" not in result, result["exceptionDetails"]
        return result["result"].get("value")

    def until(self, expression, seconds=8.0):
        end = time.monotonic() + seconds
        while not self.value(expression):
            assert time.monotonic() < end, f"never true: {expression}; page says: {self.value('document.body.innerText')}"
            time.sleep(0.03)

    def tap(self, id_):
        x, y = self.value(f"(() => {{ const r = document.getElementById('{id_}').getBoundingClientRect();"
                          " return [r.left + r.width / 2, r.top + r.height / 2]; })()")
        self.ask("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": x, "y": y}])
        self.ask("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])

    def text(self, id_):
        return self.value(f"document.getElementById('{id_}').textContent")

    def keep_picture(self, name):
        folder = os.environ.get("HUSHTRACE_PICTURES")
        if not folder:
            return
        os.makedirs(folder, exist_ok=True)
        data = self.ask("Page.captureScreenshot", format="png")["data"]
        with open(os.path.join(folder, name + ".png"), "wb") as file:
            file.write(base64.b64decode(data))

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.terminate()
        try:
            self.process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        os.close(self.to)
        os.close(self.come)
        self.profile.cleanup()
