"""Which pages of other sites may read the open data in a browser: those of the origins that are named.

None by default: this server speaks to whoever sits at its computer, and a page from anywhere that such a
browser opens would otherwise read every ground.
Reference: Fetch Standard, WHATWG, section 3.3 (CORS protocol).
"""

from flask import Flask, Response, request

from service.settings import Settings

SHARED = ("/ogc", "/tiles")
TOLD = "Link, Content-Crs, ETag"


def init_app(app: Flask, settings: Settings) -> None:
    """Let pages of the named origins read what is open data, and nothing else."""
    if settings.cors_origins:
        app.after_request(lambda response: _shared(response, settings.cors_origins))


def _shared(response: Response, origins: tuple[str, ...]) -> Response:
    if not is_shared(request.path):
        return response
    response.vary.add("Origin")
    origin = request.headers.get("Origin")
    if origin in origins:
        response.headers["Access-Control-Allow-Origin"] = origin
        response.headers["Access-Control-Expose-Headers"] = TOLD
        if request.method == "OPTIONS":
            response.headers["Access-Control-Allow-Methods"] = "GET, HEAD, OPTIONS"
            response.headers["Access-Control-Allow-Headers"] = "Accept, Accept-Language, If-None-Match"
    return response


def is_shared(path: str) -> bool:
    """Whether an address is of open data that pages of other sites may be let read."""
    return any(path == base or path.startswith(f"{base}/") for base in SHARED)
