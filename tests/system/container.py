"""A Debian of one's own that boots under systemd, thrown away afterwards.

    if reason := container.cannot(): skip
    with Container(cache_folder) as box:
        box.run("systemctl is-system-running")
        box.run("oddloaf status", user="anna")

The root folder is made once by debootstrap, from the package source that this machine itself uses, and kept in the
cache folder; what a container writes goes into an overlay above it. The packages that a build needs lie in its apt's
cache and are not installed: a container is a bare Debian, and can become one that builds, without a network."""
import glob
import hashlib
import os
import pathlib
import re
import shutil
import signal
import subprocess
import time

ROOT = pathlib.Path(__file__).resolve().parents[2]
BASE = "systemd,systemd-sysv,dbus,ca-certificates,sudo"
EXTRA = "man-db msmtp postfix openssl iproute2"
RECOMMENDED = "libldap-common publicsuffix"  # by libraries of the packages
KEYRING = "/usr/share/keyrings/debian-archive-keyring.gpg"
LONGEST_S = 900
PATH = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"


def cannot():
    """Why there can be no container on this machine; None if there can."""
    if os.geteuid() != 0:
        return "only root can boot a container"
    missing = [name for name in ("debootstrap", "systemd-nspawn", "nsenter") if not shutil.which(name)]
    if missing:
        return "missing: " + " ".join(missing) + " (packages debootstrap and systemd-container)"
    return None if release_source() else "no package source of this Debian found in /etc/apt"


# ---- the root folder ----

def codename():
    return re.search(r"^VERSION_CODENAME=(\S+)", pathlib.Path("/etc/os-release").read_text(), re.M).group(1)


def source_files():
    """The files of this machine's apt that name its own release."""
    paths = [pathlib.Path("/etc/apt/sources.list"), *map(pathlib.Path, sorted(glob.glob("/etc/apt/sources.list.d/*")))]
    return [path for path in paths if path.suffix in (".list", ".sources") and path.exists()
            and re.search(rf"\b{codename()}\b", path.read_text()) and "debian" in path.read_text()]


def release_source():
    """The address that serves the release itself, from either form of such a file; None if there is none."""
    name = codename()
    for path in source_files():
        text = path.read_text()
        one_line = re.search(rf"^deb\s+(?:\[.*?\]\s+)?(\S+)\s+{name}\s", text, re.M)
        if one_line:
            return one_line.group(1)
        for stanza in re.split(r"\n\s*\n", text):
            fields = dict(re.findall(r"^([A-Za-z-]+):\s*(.*)$", stanza, re.M))
            if name in fields.get("Suites", "").split():
                return fields["URIs"].split()[0]
    return None


def build_packages():
    script = f'. "{ROOT}/tests/packages.sh"; echo $PACKAGES_BUILD'
    return subprocess.run(["sh", "-c", script], check=True, capture_output=True, text=True).stdout.split()


def run_in(root, command):
    environment = {"PATH": PATH, "DEBIAN_FRONTEND": "noninteractive", "LC_ALL": "C.UTF-8"}
    subprocess.run(["chroot", root, "sh", "-ec", command], check=True, env=environment)


def make_root(root):
    subprocess.run(["debootstrap", "--variant=minbase", f"--include={BASE}", f"--keyring={KEYRING}", codename(), root,
                    release_source()], check=True)
    for old in root.glob("etc/apt/sources.list*"):
        shutil.rmtree(old) if old.is_dir() else old.unlink()
    (root / "etc/apt/sources.list.d").mkdir()
    for path in source_files():
        shutil.copy(path, root / "etc/apt/sources.list.d" / ("machine" + path.suffix))
    (root / "etc/apt/apt.conf.d/99machine").write_text(subprocess.run(
        ["apt-config", "dump", "Acquire"], check=True, capture_output=True, text=True).stdout)
    shutil.copy("/etc/resolv.conf", root / "etc/resolv.conf")
    (root / "usr/sbin/policy-rc.d").write_text("#!/bin/sh\nexit 101\n")  # nothing is started in a chroot
    (root / "usr/sbin/policy-rc.d").chmod(0o755)
    run_in(root, f"apt-get update -q && apt-get install -q -y --no-install-recommends {EXTRA}")
    # fetched, not installed: who installs them needs no network, and a machine without them stays bare
    run_in(root, "apt-get install -q -y --no-install-recommends --download-only " + " ".join(build_packages()) +
           " " + RECOMMENDED)
    (root / "usr/sbin/policy-rc.d").unlink()


def cached_root(cache):
    key = hashlib.sha256(" ".join([codename(), BASE, EXTRA, RECOMMENDED, *build_packages()]).encode()).hexdigest()[:12]
    root = pathlib.Path(cache) / f"root-{key}"
    if not root.exists():
        for old in root.parent.glob("root-*"):
            shutil.rmtree(old)
        fresh = root.with_suffix(".new")
        shutil.rmtree(fresh, ignore_errors=True)
        fresh.mkdir(parents=True)
        make_root(fresh)
        fresh.rename(root)
    return root


# ---- the container ----

class Container:
    def __init__(self, cache, name="box"):
        self.cache = pathlib.Path(cache)
        self.name = f"oddloaf-{name}-{os.getpid()}"
        self.folder = self.cache / self.name
        self.root = self.folder / "root"
        self.nspawn = self.pid = None

    def __enter__(self):
        lower = cached_root(self.cache)
        for name in ("upper", "work", "root"):
            (self.folder / name).mkdir(parents=True)
        subprocess.run(["mount", "-t", "overlay", "overlay", "-o",
                        f"lowerdir={lower},upperdir={self.folder}/upper,workdir={self.folder}/work", self.root], check=True)
        try:
            self.boot()
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_):
        self.halt()
        subprocess.run(["umount", self.root], check=False)
        shutil.rmtree(self.folder, ignore_errors=True)

    def boot(self):
        """Waits until systemd says that it is up."""
        with open(self.folder / "console.log", "ab") as log:
            self.nspawn = subprocess.Popen(
                ["systemd-nspawn", "-q", "-D", self.root, "--boot", "--register=no", "--keep-unit", "--private-network",
                 f"--machine={self.name}", "--console=pipe", "--capability=CAP_BPF,CAP_PERFMON,CAP_NET_ADMIN",
                 "--system-call-filter=bpf"],  # for the firewall of units
                stdin=subprocess.DEVNULL, stdout=log, stderr=log,
                env={**os.environ, "SYSTEMD_NSPAWN_UNIFIED_HIERARCHY": "1"})
        self.wait(self.is_up, 240, "the end of booting")

    def is_up(self):
        """Its init is looked for each time: before that, the only child is one that makes it and goes."""
        self.pid = self.first_child()
        return self.pid and self.run("systemctl is-system-running", check=False).stdout.strip() in ("running", "degraded")

    def first_child(self):
        assert self.nspawn.poll() is None, (self.folder / "console.log").read_text(errors="replace")
        children = pathlib.Path(f"/proc/{self.nspawn.pid}/task/{self.nspawn.pid}/children").read_text().split()
        return int(children[0]) if children else None

    def halt(self):
        if self.nspawn is None:
            return
        try:
            if self.pid:
                os.kill(self.pid, signal.SIGRTMIN + 4)  # poweroff, by its own init
            self.nspawn.wait(60)
        except (subprocess.TimeoutExpired, ProcessLookupError):
            self.nspawn.kill()
        self.nspawn.wait()
        self.nspawn = self.pid = None

    def reboot(self):
        self.halt()
        self.boot()

    @staticmethod
    def wait(answer, seconds, what):
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            said = answer()
            if said:
                return said
            time.sleep(0.1)
        raise AssertionError(f"waited {seconds} s for {what}")

    def run(self, command, user="root", folder="/", check=True, stdin=None):
        home = "/root" if user == "root" else f"/home/{user}"
        words = ["nsenter", "-t", str(self.pid), "-m", "-u", "-i", "-n", "-p", f"--root=/proc/{self.pid}/root",
                 "env", "-i", f"PATH={PATH}", f"HOME={home}", f"USER={user}", "LC_ALL=C.UTF-8"]
        if user != "root":
            words += ["runuser", "-u", user, "--"]
        done = subprocess.run([*words, "sh", "-ec", f"cd {folder}\n{command}"], input=stdin, capture_output=True,
                              text=True, timeout=LONGEST_S)
        assert not check or done.returncode == 0, f"{command}: {done.returncode}\n{done.stdout}{done.stderr}"
        return done

    def write(self, path, text, mode=0o644):
        """A file of root's, in a folder that is made."""
        target = self.root / path.lstrip("/")
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text)
        target.chmod(mode)
