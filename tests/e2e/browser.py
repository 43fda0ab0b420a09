"""Headless Chromium, spoken to over its debugging pipe; nothing but the standard library.

    with Browser() as browser:
        page = browser.open(path, width=390, height=844)
        page.value("document.title")
"""
import base64
import fcntl
import json
import os
import pathlib
import select
import shutil
import subprocess
import tempfile
import time

PROGRAMS = ("chromium", "chromium-browser", "google-chrome")
NO_NETWORK = ("--host-resolver-rules=MAP * ~NOTFOUND", "--disable-background-networking",
              "--disable-component-update", "--disable-sync", "--disable-default-apps",
              "--no-first-run", "--disable-extensions")


class Browser:
    def __init__(self):
        program = next(filter(None, map(shutil.which, PROGRAMS)), None)
        if not program:
            raise RuntimeError("no Chromium: tests/run.sh installs it")
        self.dir = tempfile.mkdtemp(prefix="oddloaf-browser-")
        self.log = open(os.path.join(self.dir, "log"), "wb")
        words = [program, "--headless=new", "--remote-debugging-pipe", "--disable-gpu",
                 "--disable-dev-shm-usage", "--hide-scrollbars", "--force-color-profile=srgb",
                 f"--user-data-dir={self.dir}/profile", *NO_NETWORK]
        if os.getuid() == 0:  # its sandbox refuses to run as root
            words.append("--no-sandbox")
        their_in, self.to = os.pipe()
        self.back, their_out = os.pipe()
        # the browser reads from descriptor 3 and writes to 4
        high = [fcntl.fcntl(fd, fcntl.F_DUPFD, 20) for fd in (their_in, their_out)]

        def arrange():
            os.dup2(high[0], 3)
            os.dup2(high[1], 4)

        self.process = subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=self.log,
                                        stderr=self.log, preexec_fn=arrange, pass_fds=(3, 4))
        for fd in (their_in, their_out, *high):
            os.close(fd)
        self.serial = 0
        self.rest = b""
        self.events = []

    def __enter__(self):
        return self

    def __exit__(self, *_):
        try:
            self.call("Browser.close")
            self.process.wait(20)
        except Exception:
            self.process.kill()
            self.process.wait()
        for fd in (self.to, self.back):
            os.close(fd)
        self.log.close()
        shutil.rmtree(self.dir, ignore_errors=True)

    def read(self, until):
        """The next message, or None at that moment of time.monotonic()."""
        while b"\0" not in self.rest:
            wait = until - time.monotonic()
            if wait <= 0 or not select.select([self.back], [], [], wait)[0]:
                return None
            more = os.read(self.back, 1 << 20)
            if not more:
                raise RuntimeError("the browser ended: " +
                                   pathlib.Path(self.dir, "log").read_text(errors="replace"))
            self.rest += more
        message, self.rest = self.rest.split(b"\0", 1)
        return json.loads(message)

    def call(self, method, session=None, seconds=60, **params):
        self.serial += 1
        message = {"id": self.serial, "method": method, "params": params}
        if session:
            message["sessionId"] = session
        os.write(self.to, json.dumps(message).encode() + b"\0")
        until = time.monotonic() + seconds
        while (answer := self.read(until)) is not None:
            if answer.get("id") == self.serial:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return answer["result"]
            self.events.append(answer)
        raise RuntimeError(f"{method}: no answer in {seconds} s")

    def open(self, path, **view):
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        return Page(self, target, session).show(path, **view)


class Page:
    def __init__(self, browser, target, session):
        self.browser, self.target, self.session = browser, target, session
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(domain + ".enable")

    def call(self, method, **params):
        return self.browser.call(method, self.session, **params)

    def show(self, path, width=1280, height=900, scheme="light", media=""):
        self.first_event = len(self.browser.events)
        self.address = pathlib.Path(path).resolve().as_uri()
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height,
                  deviceScaleFactor=1, mobile=width < 600)
        self.call("Emulation.setEmulatedMedia", media=media,
                  features=[{"name": "prefers-color-scheme", "value": scheme}])
        self.call("Page.navigate", url=self.address)
        until = time.monotonic() + 60
        while not any(e.get("method") == "Page.loadEventFired" for e in self.seen()):
            message = self.browser.read(until)
            if message is None:
                raise RuntimeError("the page does not load")
            self.browser.events.append(message)
        self.wait(0.3)  # what a script or a late request would say
        return self

    def wait(self, seconds):
        until = time.monotonic() + seconds
        while (message := self.browser.read(until)) is not None:
            self.browser.events.append(message)

    def seen(self):
        return [e for e in self.browser.events[self.first_event:]
                if e.get("sessionId") == self.session]

    def value(self, script):
        answer = self.call("Runtime.evaluate", expression=script, returnByValue=True,
                           awaitPromise=True)
        if "exceptionDetails" in answer:
            raise RuntimeError(json.dumps(answer["exceptionDetails"])[:500])
        return answer["result"].get("value")

    def messages(self):
        """What it said on the console, and its errors."""
        said = []
        for event in self.seen():
            params = event.get("params", {})
            if event["method"] == "Runtime.exceptionThrown":
                said.append(params["exceptionDetails"]["text"])
            elif event["method"] == "Runtime.consoleAPICalled":
                said.append(str([a.get("value") for a in params["args"]]))
            elif event["method"] == "Log.entryAdded":
                said.append(params["entry"]["text"])
        return said

    def requests(self):
        """Addresses it asked for besides its own."""
        asked = [e["params"]["request"]["url"] for e in self.seen()
                 if e["method"] == "Network.requestWillBeSent"]
        return [a for a in asked if a != self.address]

    def screenshot(self, path, top=0, height=None):
        """Of the whole page, or of `height` pixels from `top` on."""
        width, whole = self.value(
            "[innerWidth, Math.ceil(document.documentElement.getBoundingClientRect().height)]")
        clip = {"x": 0, "y": top, "width": width, "height": height or whole - top, "scale": 1}
        picture = self.call("Page.captureScreenshot", captureBeyondViewport=True, format="png",
                            clip=clip)
        pathlib.Path(path).write_bytes(base64.b64decode(picture["data"]))

    def pdf(self, path, width_in, height_in):
        paper = self.call("Page.printToPDF", paperWidth=width_in, paperHeight=height_in,
                          preferCSSPageSize=False, printBackground=False)
        pathlib.Path(path).write_bytes(base64.b64decode(paper["data"]))

    def image_names(self):
        """Names of the pictures as a screen reader is told them."""
        self.call("Accessibility.enable")
        nodes = self.call("Accessibility.getFullAXTree")["nodes"]
        return [n.get("name", {}).get("value", "").strip() for n in nodes
                if not n.get("ignored") and n.get("role", {}).get("value") in ("image", "img")]
