"""Shared by the tests of the client: the program, a stand-in daemon, folders of their own."""

import json
import os
import shutil
import subprocess
import tempfile
import unittest

import fake_daemon

PROGRAM = os.environ.get("ODDLOAF", "oddloaf")


class ClientTest(unittest.TestCase):
    maxDiff = None
    serves = True

    def setUp(self):
        self.folder = tempfile.mkdtemp(prefix="oddloaf-")
        self.socket = os.path.join(self.folder, "s")
        self.spool = os.path.join(self.folder, "spool")
        self.daemon = None
        self.served = []
        self.env = {"PATH": os.environ["PATH"], "HOME": self.folder, "TZ": "America/New_York",
                    "LC_ALL": "C.UTF-8", "ODDLOAF_SOCKET": self.socket,
                    "ODDLOAF_SPOOL": self.spool}
        for name in ("ASAN_OPTIONS", "UBSAN_OPTIONS", "LLVM_PROFILE_FILE"):
            if name in os.environ:
                self.env[name] = os.environ[name]
        if "GONE_THROUGH_FOLDER" in os.environ:  # mutate.py asks which test goes through which function
            self.env.update({"LD_PRELOAD": os.environ["GONE_THROUGH_LIBRARY"], "GONE_THROUGH_PROGRAM": PROGRAM,
                             "GONE_THROUGH": os.path.join(os.environ["GONE_THROUGH_FOLDER"], self.id())})
            with open(self.env["GONE_THROUGH"], "wb") as f:
                f.write(bytes(int(os.environ["GONE_THROUGH_ROWS"])))
        if self.serves:
            self.serve()

    def tearDown(self):
        if self.daemon:
            self.daemon.stop()
        shutil.rmtree(self.folder)
        self.assertEqual([fault for daemon in self.served for fault in daemon.faults], [])

    def serve(self):
        self.daemon = fake_daemon.Daemon(self.socket).start()
        self.served.append(self.daemon)

    def away(self):
        self.daemon.stop()
        self.daemon = None

    def run_client(self, *args, stdin=b"", env=None):
        environment = dict(self.env)
        environment.update(env or {})
        done = subprocess.run([PROGRAM, *args], input=stdin, capture_output=True,
                              env=environment, timeout=300, cwd=self.folder)
        return done.returncode, done.stdout.decode(), done.stderr.decode()

    def ok(self, *args, **kwargs):
        """Stdout of a run that must be without fault and without a word on stderr."""
        code, out, err = self.run_client(*args, **kwargs)
        self.assertEqual((code, err), (0, ""), out)
        return out

    def json(self, *args, **kwargs):
        code, out, _ = self.run_client("--json", *args, **kwargs)
        return code, [json.loads(line) for line in out.splitlines()]

    def file(self, name, text):
        path = os.path.join(self.folder, name)
        with open(path, "w", encoding="utf-8") as f:
            f.write(text)
        return path

    def waiting(self):
        if not os.path.isdir(self.spool):
            return []
        return sorted(n for n in os.listdir(self.spool) if n[0].isdigit())
