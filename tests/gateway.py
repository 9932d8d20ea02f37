"""A real SMS and voice gateway on this machine, with the faults real ones have."""

import json
import random
import threading
import time
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass
class Gateway:
    """What it has taken, and how often it refuses, hangs, or takes without saying so (0 to 1)."""

    refuses: float = 0.0
    hangs: float = 0.0
    answer_lost: float = 0.0
    status: int = 200
    hang_seconds: float = 2.0
    seed: int = 7
    taken: list[dict[str, str]] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def __enter__(self) -> "Gateway":
        """Listen on a free port."""
        self.chance = random.Random(self.seed)
        gateway = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                gateway.answer(self)

            def log_message(self, *_: object) -> None:
                """Quiet."""

        class Server(ThreadingHTTPServer):
            # Several senders come at once, and a connection put off looks like a hanging one.
            request_queue_size = 128

            def handle_error(self, *_: object) -> None:
                """Quiet: a sender that was killed or gave up has nobody to answer."""

        self.server = Server(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_port}/send"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop listening."""
        self.server.shutdown()
        self.server.server_close()

    def answer(self, request: BaseHTTPRequestHandler) -> None:
        """One message arrives."""
        try:
            body = json.loads(request.rfile.read(int(request.headers["Content-Length"])))
        except ValueError:
            return None  # the sender was killed half-way
        with self.lock:
            fate = self.chance.random()
        if fate < self.refuses:
            return _reply(request, 503)
        if fate < self.refuses + self.hangs:
            time.sleep(self.hang_seconds)
            return None
        if self.status == 200:
            with self.lock:
                self.taken.append(body)
        if fate < self.refuses + self.hangs + self.answer_lost:
            request.connection.close()
            return None
        return _reply(request, self.status, json.dumps({"id": f"g-{body['id']}"}))

    def messages_to(self, number: str) -> list[str]:
        """The texts that were taken for a number."""
        with self.lock:
            return [
                body.get("text", body.get("say", "")) for body in self.taken if body["to"] == number
            ]


def _reply(request: BaseHTTPRequestHandler, status: int, body: str = "") -> None:
    request.send_response(status)
    request.send_header("Content-Length", str(len(body)))
    request.end_headers()
    request.wfile.write(body.encode())
