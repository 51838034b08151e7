"""Attacks on addresses and answers: paths that lead out, odd methods, what answers tell."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final
from urllib.parse import quote

from attacks.network_access import filled, routes
from attacks.network_server import Tally, leaks, program, said_raw, visitor
from attacks.outcome import Outcome

if TYPE_CHECKING:
    from attacks.network_server import Served

TRICKS: Final = (
    "..",
    "../..",
    "../../../../etc/passwd",
    "..%2f..%2f..%2fetc%2fpasswd",
    "%2e%2e/%2e%2e/etc/passwd",
    "%2e%2e%2f%2e%2e%2fetc%2fpasswd",
    "..%5c..%5cwindows%5cwin.ini",
    "..\\..\\windows\\win.ini",
    "%252e%252e%252f",
    "..%c0%af..%c0%afetc%c0%afpasswd",
    "..;/..;/",
    "....//....//etc/passwd",
    "%00",
    "tarn-t20%00.toml",
    "1%00",
    "%0d%0aSet-Cookie:x=y",
    "%0a",
    "CON",
    "nul",
    "aux.toml",
    "com1",
    "lpt9.csv",
    "file:///etc/passwd",
    "/etc/passwd",
    "//etc/passwd",
    "~",
    "~root",
    ".",
    "$HOME",
    "%24HOME",
    "{name}",
    "{{7*7}}",
    "${7*7}",
    "1;ls",
    "1|id",
    "`id`",
    "1 or 1=1",
    "1' or '1'='1",
    "-1",
    "0",
    "99999999999999999999",
    "1e5",
    "0x1",
    "+1",
    "1.0",
    "\u0661",
    "\u2160",
    "\uff11",
    "1\u200b",
    "\u2025/\u2025/etc",
    "\uff0e\uff0e\uff0fetc",
    "%ef%bc%8e%ef%bc%8e%ef%bc%8f",
    "%ff%fe",
    "%",
    "%zz",
    "x" * 300,
    "x" * 5_000,
    "a" * 64,
    "0" * 32,
    "*",
    "?",
    "#",
    "%23",
    "[",
    "shop.sqlite",
    "__proto__",
    "constructor",
    ".git/config",
    ".env",
    "null",
    "None",
    "NaN",
    "true",
)
_OUTSIDE: Final = re.compile(r"root:.*:0:0|\[fonts\]|SQLite format 3")
NEEDED: Final = {
    "content-security-policy",
    "x-content-type-options",
    "referrer-policy",
    "permissions-policy",
    "cross-origin-opener-policy",
    "cross-origin-resource-policy",
    "cache-control",
}


def paths(local: Served) -> Outcome:
    """Put tricks in place of every id and name in every address, and of every shipped file."""
    tally = Tally()
    asked = [(method, path) for method, path in routes() if "{" in path]
    addresses = [
        (
            method,
            filled(path.replace(name, trick if "%" in trick else quote(trick, safe="/\\;"), 1)),
        )
        for method, path in asked
        for name in re.findall(r"\{\w+\}", path)
        for trick in TRICKS
    ]
    addresses += [("GET", f"/static/{trick if '%' in trick else quote(trick)}") for trick in TRICKS]
    addresses += [
        ("GET", f"/static/css/{up}app.py") for up in ("../../", "%2e%2e/%2e%2e/", "..%5c..%5c")
    ]
    token = visitor(local).token
    with program(local) as client:
        for method, address in addresses:
            if address.endswith("/events"):
                continue  # it would go on for ever where it is right
            headers = {"x-csrf-token": token}
            answer = client.request(
                method,
                _raw(address),
                json={"text": "x", "why": "x"} if method != "GET" else None,
                headers=headers,
            )
            told = answer.text + str(dict(answer.headers))
            held = (
                answer.status_code < 500
                and not _OUTSIDE.search(told)
                and not leaks(told, local)
                and "x=y" not in str(answer.headers.get("set-cookie"))
            )
            tally.note((method, address[:80], answer.status_code), held=held)
    names = [name for name in TRICKS if 0 < len(name) < 1_000]
    with program(local) as client:
        for name in names:
            answer = client.put("/api/uploads", params={"name": name}, content=b"x")
            kept = local.shop / "uploads" / answer.json()["id"]
            [file] = kept.iterdir()
            held = file.parent == kept and "/" not in answer.json()["name"]
            tally.note(
                ("upload", name),
                held=held
                and client.delete(f"/api/uploads/{answer.json()['id']}").status_code == 204,
            )
    return Outcome(
        "path tricks for every id and file name",
        tally.tried,
        len(tally.through),
        f"{len(asked)} addresses, {len(TRICKS)} tricks; none leads out, none fails inside",
    )


def _raw(address: str) -> str:
    """Leave dots and doubled slashes as they are: a client would tidy them away."""
    return address.replace("/../", "/%2e%2e/").replace("/./", "/%2e/")


def methods(local: Served, shared: Served) -> Outcome:
    """Ask with methods that no address has."""
    tally = Tally()
    odd = (
        "TRACE",
        "TRACK",
        "CONNECT",
        "OPTIONS",
        "PATCH",
        "PROPFIND",
        "MOVE",
        "COPY",
        "DEBUG",
        "get",
        "HEAD",
        "X" * 200,
    )
    for served in (local, shared):
        for method in odd:
            for path in (
                "/",
                "/sign-in",
                "/api/health",
                "/api/jobs",
                "/visits/1",
                "/static/css/app.css",
            ):
                asked = (
                    f"{method} {path} HTTP/1.1\r\nHost: {served.host}\r\nX-Secret: trace-me\r\n"
                    f"Authorization: Bearer {served.key}\r\nConnection: close\r\n\r\n"
                )
                heard = said_raw(served, asked.encode())
                status = int(heard[9:12] or b"0")
                is_file = path.startswith("/static/") and method == "HEAD"
                held = b"trace-me" not in heard and (
                    400 <= status < 500 or status == 303 or is_file
                )
                tally.note((method, path, heard[:40]), held=held)
    return Outcome("odd methods", tally.tried, len(tally.through), "refused; nothing is echoed")


def headers_of_answers(local: Served, shared: Served) -> Outcome:
    """Look at every answer's headers: framing, sniffing, caches, and what pages may load."""
    tally = Tally()
    for served in (local, shared):
        one = visitor(served)
        for method, path in routes():
            if path.endswith("/events"):
                continue
            answer = one.client.request(method, filled(path))
            tally.note((path, answer.status_code), held=_is_guarded(answer.headers, path))
            # The workshop's page says where everything is kept, to those who may come in.
            held = path == "/workshop" or not leaks(answer.text, served)
            tally.note((path, "leaks"), held=held)
        outside = visitor(served)
        for path in (
            "/",
            "/api/jobs",
            "/nothing",
            "/visits/1",
            "/visits/1/report.pdf",
            "/known-goods",
        ):
            outside.client.cookies.clear()
            answer = outside.client.get(path)
            tally.note((path, answer.status_code), held=_is_guarded(answer.headers, path))
            is_shown = served is local and not path.startswith("/api")
            tally.note(
                (path, "without a session"), held=is_shown or answer.status_code in {303, 401}
            )
    return Outcome(
        "headers of every answer",
        tally.tried,
        len(tally.through),
        "not framed, not sniffed, not kept; scripts and styles of this server only",
    )


def _is_guarded(headers: object, path: str) -> bool:
    got = {key.lower(): value for key, value in dict(headers).items()}  # type: ignore[call-overload]
    policy = got.get("content-security-policy", "")
    strict = "frame-ancestors 'none'" in policy and "default-src" in policy
    scripts = "unsafe-inline" not in policy or "default-src 'none'" in policy
    kept = got.get("cache-control", "")
    private = kept == "no-store" or (
        path.startswith("/api/recordings") and kept.startswith("private")
    )
    return got.keys() >= NEEDED and strict and scripts and private and "server" not in got


def logs(local: Served, shared: Served) -> Outcome:
    """Look at what the servers wrote while they were attacked."""
    tally = Tally()
    for served in (local, shared):
        said = served.said()
        tally.note("a traceback in the log", held="Traceback" not in said)
        tally.note("a secret in the log", held=served.key not in said and "four tulips" not in said)
        tally.note("a control character in the log", held="\x1b" not in said and "\x00" not in said)
    with_forged = "192.0.2.77\x1b[2J forged"
    said_raw(
        shared,
        (
            f"GET /sign-in HTTP/1.1\r\nHost: {shared.host}\r\nX-Forwarded-For: {with_forged}\r\n"
            "Connection: close\r\n\r\n"
        ).encode(),
    )
    tally.note("an address forged", held="\x1b" not in shared.said())
    return Outcome(
        "what the log holds afterwards",
        tally.tried,
        len(tally.through),
        "no traceback, no secret, no control character",
    )
