"""A way between a browser and a server that can be cut, can lose answers, and can bring another worker."""

import contextlib
import http.client
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

NOT_PASSED = {"connection", "transfer-encoding", "keep-alive", "date", "server"}


class _Quiet(ThreadingHTTPServer):
    """A server that says nothing of browsers that hang up."""

    daemon_threads = True

    def handle_error(self, request, client_address):
        """Nothing: hanging up is what is tried here."""


class Proxy:
    """Passes requests on to a port that may change.

    Parameters
    ----------
    cut : bool
        Whether every connection breaks off before anything is asked.
    lose : int
        How many of the next answers to what is sent get lost after the server has given them.
    worker : int
        Another number makes another worker of the same files.
    """

    def __init__(self):
        self.port, self.cut, self.lose, self.worker = None, False, 0, 0
        self.lost = 0
        proxy = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def log_message(self, *_said):
                """Nothing."""

            def _pass_on(self):
                proxy.pass_on(self)

            do_GET = do_POST = do_PUT = _pass_on

        self.server = _Quiet(("127.0.0.1", 0), Handler)
        self.thread = threading.Thread(target=self.server.serve_forever, daemon=True)

    @property
    def address(self):
        """Where the browser goes."""
        return f"http://localhost:{self.server.server_address[1]}"

    def pass_on(self, asked):
        """Ask the server and give its answer, unless that is to go wrong."""
        size = int(asked.headers.get("Content-Length") or 0)
        body = asked.rfile.read(size) if size else None
        answer = None if self.cut else self._asked(asked, body)
        if answer is not None and asked.path == "/field/api/send" and self.lose > 0:
            self.lose -= 1
            self.lost += 1
            answer = None
        with contextlib.suppress(OSError):
            if answer is None:
                asked.close_connection = True
                return
            status, headers, content = answer
            asked.send_response(status)
            for name, value in headers:
                if name.lower() not in {*NOT_PASSED, "content-length"}:
                    asked.send_header(name, value)
            asked.send_header("Content-Length", str(len(content)))
            asked.end_headers()
            asked.wfile.write(content)

    def _asked(self, asked, body):
        headers = {name: value for name, value in asked.headers.items() if name.lower() not in NOT_PASSED}
        if asked.path == "/field/sw.js":
            headers.pop("Accept-Encoding", None)
        way = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            way.request(asked.command, asked.path, body, headers)
            answer = way.getresponse()
            content = answer.read()
        except (OSError, http.client.HTTPException):
            return None
        finally:
            way.close()
        if asked.path == "/field/sw.js":
            content = content.replace(b'const VERSION = "', b'const VERSION = "%d' % self.worker)
        return answer.status, answer.getheaders(), content

    def __enter__(self):
        self.thread.start()
        return self

    def __exit__(self, *_error):
        self.server.shutdown()
        self.thread.join(10)
        self.server.server_close()
