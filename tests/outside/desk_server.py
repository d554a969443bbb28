"""A desk running over a folder, and questions to it over raw HTTP."""

import http.client
import json
import signal
import subprocess
from urllib.parse import urlsplit

import pytest


class Desk:
    def __init__(self, program, folder, *options):
        self.folder = folder
        self.process = subprocess.Popen(
            [program, "desk", folder, "--no-browser", *options],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        self.address = self.process.stdout.readline().strip()
        parts = urlsplit(self.address)
        self.host, self.port, self.key = parts.netloc, parts.port, parts.query.removeprefix("key=")
        self.cookie = None

    def request(self, method, path, body=None, headers=None):
        """Status, headers and body; nothing is sent but what is given here and what HTTP itself asks for."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        connection.request(method, path, body, {"Host": self.host, **(headers or {})})
        answer = connection.getresponse()
        data = answer.read()
        connection.close()
        return answer.status, answer.headers, data

    def enter(self):
        """Brings the key and gets the cookie for it."""
        status, headers, _ = self.request("GET", f"/?key={self.key}")
        assert status == 303
        self.cookie = headers["Set-Cookie"].split(";")[0]
        return headers

    def headers(self, **changes):
        headers = {
            "Cookie": self.cookie,
            "Origin": f"http://{self.host}",
            "Content-Type": "application/json",
        }
        headers.update({name.replace("_", "-"): value for name, value in changes.items()})
        return {name: value for name, value in headers.items() if value is not None}

    def ask(self, path, question, code=200):
        if self.cookie is None:
            self.enter()
        status, _, body = self.request("POST", path, json.dumps(question), self.headers())
        assert status == code, body
        return json.loads(body)

    def end(self, how=signal.SIGTERM):
        if self.process.poll() is None:
            self.process.send_signal(how)
        code = self.process.wait(timeout=60)
        self.process.stdout.close()
        return code


@pytest.fixture(scope="module")
def desk(program, tmp_path_factory):
    desk = Desk(program, tmp_path_factory.mktemp("desk"))
    desk.enter()
    yield desk
    assert desk.end() == 0
