"""Drives the installed Firefox by WebDriver BiDi, a W3C draft that it speaks without any other program."""

from __future__ import annotations

import asyncio
import itertools
import json
import shutil
import subprocess
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
# Each file an origin of its own, as for everybody: without it a driven browser proves nothing.
STRICT = 'user_pref("security.fileuri.strict_origin_policy", true);\n'
QUIET = 'user_pref("datareporting.policy.dataSubmissionEnabled", false);\n'


class Firefox:
    """A headless Firefox with one page."""

    def __init__(self, width: int = 1400, height: int = 900) -> None:
        from tornado.websocket import websocket_connect

        self.profile = tempfile.mkdtemp(prefix="firefox-")
        Path(self.profile, "user.js").write_text(STRICT + QUIET)
        words = [
            FIREFOX,
            "--headless",
            "--no-remote",
            "--profile",
            self.profile,
            "--remote-debugging-port",
            "0",
        ]
        size = ["--width", str(width), "--height", str(height)]
        self.process = subprocess.Popen(
            [*words, *size], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True
        )
        address = ""
        for line in self.process.stderr:
            if "WebDriver BiDi listening on" in line:
                address = line.split("listening on ")[1].strip()
                break
        # In a thread of its own: another browser may be driven from this one.
        self.loop = asyncio.new_event_loop()
        self.thread = threading.Thread(target=self.loop.run_forever, daemon=True)
        self.thread.start()
        self.numbers = itertools.count(1)
        self.socket = self._await(lambda: websocket_connect(address + "/session", max_message_size=1 << 28))
        self.command("session.new", capabilities={"alwaysMatch": {"acceptInsecureCerts": False}})
        self.context = self.command("browsingContext.getTree")["contexts"][0]["context"]
        self.command(
            "browsingContext.setViewport", context=self.context, viewport={"width": width, "height": height}
        )

    def _await(self, start: Any) -> Any:
        async def awaited() -> Any:
            return await start()

        return asyncio.run_coroutine_threadsafe(awaited(), self.loop).result(120)

    def command(self, method: str, **params: Any) -> Any:
        number = next(self.numbers)
        text = json.dumps({"id": number, "method": method, "params": params})
        self._await(lambda: self.socket.write_message(text))
        while True:
            answer = json.loads(self._await(self.socket.read_message))
            if answer.get("id") == number:
                assert answer["type"] == "success", answer
                return answer["result"]

    def goto(self, url: str) -> None:
        self.command("browsingContext.navigate", context=self.context, url=url, wait="complete")

    def run(self, expression: str) -> Any:
        """Value of an expression, through JSON; a promise is awaited."""
        wrapped = f"(async () => JSON.stringify(await ({expression})))()"
        found = self.command(
            "script.evaluate", expression=wrapped, target={"context": self.context}, awaitPromise=True
        )
        assert found["type"] == "success", found
        text = found["result"].get("value")
        return None if text is None else json.loads(text)

    def press(self, keys: str) -> None:
        strokes = [{"type": kind, "value": key} for key in keys for kind in ("keyDown", "keyUp")]
        self._perform({"type": "key", "id": "keys", "actions": strokes})

    def stroke(self, *points: tuple[float, float]) -> None:
        moves = [{"type": "pointerMove", "x": round(x), "y": round(y)} for x, y in points]
        actions = [
            moves[0],
            {"type": "pointerDown", "button": 0},
            *moves[1:],
            {"type": "pointerUp", "button": 0},
        ]
        self._perform(
            {"type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"}, "actions": actions}
        )

    def _perform(self, source: dict[str, Any]) -> None:
        self.command("input.performActions", context=self.context, actions=[source])

    def wait_for(self, expression: str, seconds: float = 10) -> Any:
        until = time.monotonic() + seconds
        while not (found := self.run(expression)):
            assert time.monotonic() < until, expression
            time.sleep(0.05)
        return found

    def close(self) -> None:
        self.loop.call_soon_threadsafe(self.socket.close)
        self.process.terminate()
        self.process.wait(20)
        self.process.stderr.close()
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join(10)
        self.loop.close()
        shutil.rmtree(self.profile, ignore_errors=True)
