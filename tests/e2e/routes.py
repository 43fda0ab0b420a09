"""The daemon's own table of routes, as the build's `route_table` prints it. A new route is in it."""
import json
import pathlib
import subprocess

ROLES = ["desk", "qa", "manager", "admin", "metrics"]


def routes(binaries):
    """[{"method", "path" (with * for one segment), "roles", "query", "about"}, …]"""
    return json.loads(subprocess.run([pathlib.Path(binaries) / "tests/route_table"], check=True,
                                     capture_output=True, text=True).stdout)
