"""Carknocker in a process of its own, as a person starts it, and a browser without a screen."""

from __future__ import annotations

import atexit
import os
import random
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Mapping
from functools import cache
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.parse import urlencode

ROOT = Path(__file__).resolve().parents[1]


def free_port() -> int:
    """A port that is free, and below those that systems give to whoever calls out (RFC 6335 and
    Linux's 32768 and up): one of these may be taken before the server comes to it."""
    while True:
        port = random.randint(15_000, 32_000)
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port


@cache
def _tables() -> Path:
    """A folder whose record has its tables and nothing in them. To make them takes longer than all
    else that a start does."""
    folder = tempfile.mkdtemp(prefix="carknocker-tables-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    environment = {k: v for k, v in os.environ.items() if k != "CARKNOCKER_DATABASE"}
    subprocess.run(
        [sys.executable, "manage.py", "migrate", "-v0"],
        cwd=ROOT,
        env={**environment, "CARKNOCKER_DATA": folder},
        check=True,
    )
    return Path(folder)


class Server:
    """Carknocker as a person starts it.

    Where there is no folder yet it finds tables in it, unless this is about a new record.
    """

    def __init__(
        self,
        folder: Path,
        *args: str,
        settings: Mapping[str, str] | None = None,
        is_new: bool = False,
        **popen: object,
    ) -> None:
        if not is_new and not folder.exists():
            shutil.copytree(_tables(), folder)
        self.port = free_port()
        self.folder = folder
        self.log = folder.parent / f"{folder.name}-{self.port}.log"
        # Without a database of its own it would find that of the tests on PostgreSQL.
        environment = {k: v for k, v in os.environ.items() if k != "CARKNOCKER_DATABASE"}
        environment |= {"CARKNOCKER_DATA": str(folder), "PYTHONIOENCODING": "utf-8"}
        environment |= settings or {}
        self.environment = environment
        with self.log.open("w") as output:
            self.process = subprocess.Popen(
                [sys.executable, "manage.py", "start", "--port", str(self.port), *args],
                cwd=ROOT,
                stdout=output,
                stderr=subprocess.STDOUT,
                env={**environment, "PYTHONUNBUFFERED": "1"},
                **_own_group(),
                **popen,
            )
        until = time.monotonic() + 180  # a busy machine
        while "Stop with Ctrl-C" not in self.said:
            if self.process.poll() is not None or time.monotonic() > until:
                self.kill()
                raise AssertionError(f"It did not start. It said:\n{self.said}")
            time.sleep(0.1)

    @property
    def base(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def said(self) -> str:
        return self.log.read_text(encoding="utf-8")

    @property
    def address(self) -> str:
        return re.search(r"http://\S+/arrive/\S+", self.said).group()

    def shell(self, code: str) -> str:
        """What a piece of Python prints that runs on the same record, in a process of its own."""
        done = subprocess.run(
            [sys.executable, "manage.py", "shell", "--no-imports", "-c", code],
            cwd=ROOT,
            env={**self.environment, "PYTHONUTF8": "1"},
            capture_output=True,
            encoding="utf-8",
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def kill(self) -> None:
        """No warning, no tidying up: as if the plug of the machine were pulled, but for what the
        system itself still writes."""
        self.process.kill()
        self.process.wait(timeout=20)

    def stop(self) -> None:
        """Ctrl-C, as a person would."""
        sign = signal.CTRL_BREAK_EVENT if os.name == "nt" else signal.SIGINT
        self.process.send_signal(sign)
        self.process.wait(timeout=20)


def _own_group() -> dict[str, object]:
    if os.name == "nt":
        return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    return {}


class Visitor:
    """A browser without a screen. `status` and `address` are of the last answer."""

    def __init__(self) -> None:
        self.cookies = CookieJar()
        self.open = urllib.request.build_opener(
            urllib.request.HTTPCookieProcessor(self.cookies)
        ).open
        self.status = 0
        self.address = ""

    def get(self, address: str) -> str:
        return self._words(address)

    def press(self, page: str, to: str = "", **fields: str | list[str]) -> str:
        """Send the form of a page, to its own address or to another; the words of the answer."""
        token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', self.get(page)).group(1)
        data = urlencode({"csrfmiddlewaretoken": token, **fields}, doseq=True).encode()
        return self._words(urllib.request.Request(to or page, data=data))

    def _words(self, wanted: str | urllib.request.Request) -> str:
        try:
            answer = self.open(wanted, timeout=60)
        except urllib.error.HTTPError as error:
            answer = error
        self.status, self.address = answer.status, answer.url
        return answer.read().decode(errors="replace")  # a picture has no words


#: What *Log a vehicle* needs besides marks and number.
A_HOPPER = {
    "category": "freight",
    "kind": "hopper",
    "axles": "4",
    "standard": "nmra/HO",
    "coupler": "knuckle",
}
