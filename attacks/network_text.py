"""HTML, scripts, template and formula texts in every text field, and everywhere that shows them."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final
from xml.etree import ElementTree as ET

from attacks.network_browser import MARK, browse
from attacks.network_server import Served, Tally, leaks, program, visitor
from attacks.outcome import Outcome
from crankwise.store import open_store
from crankwise.store.portable import make, to_text

if TYPE_CHECKING:
    import httpx2

    from attacks.network_server import Visitor

PAYLOADS: Final = (
    f"<script>{MARK}=alert('{MARK}')</script>",
    f"\"><img src=x onerror=alert('{MARK}') class={MARK}>",
    f"'><svg onload=alert('{MARK}') class={MARK}>",
    f"</textarea></title></style><iframe class={MARK} srcdoc='<script>alert(1)</script>'>",
    f"javascript:alert('{MARK}')",
    f"\" autofocus onfocus=alert('{MARK}') x=\"{MARK}",
    f"{{{{7919*7907}}}}{{% {MARK} %}}${{7919*7907}}<%= 7919*7907 %>#{{7919*7907}}",
    f'=HYPERLINK("http://else.example/{MARK}","x")',
    f"@SUM(1+1)*cmd|' /C calc'!{MARK}",
    f'#import "{MARK}"; #eval("7919*7907") $ x $ \\ *b* @{MARK}',
    f"<!--{MARK}--><![CDATA[<b class={MARK}>]]>&{MARK};%3Cscript%3E",
    f"\u202e{MARK}\u2066\u200b\u0000\u001b[2J\u0007<b class={MARK}>",
)
_PAGES: Final = (
    "/",
    f"/?search={MARK}",
    "/visits/new",
    "/known-goods",
    "/engines",
    "/workshop",
    "/watching",
)


def texts(local: Served) -> Outcome:
    """Fill every text field with every payload, then look at every page, picture and report."""
    tally = Tally()
    one = visitor(local)
    with program(local) as client:
        writer = _Writer(local, one, client, tally)
        for number, payload in enumerate(PAYLOADS):
            _fill(writer, payload, number)
        addresses = _addresses(client, one)
        for address in addresses:
            answer = one.client.get(address)
            _look(local, address, answer, tally)
    with_browser = browse(local, addresses, tally)
    return Outcome(
        "HTML, scripts, templates, formulas in every text field",
        tally.tried,
        len(tally.through),
        f"{len(PAYLOADS)} payloads, {writer.fields:,} fields filled, seen at {len(addresses)} "
        "addresses" + (" and in Chromium; shown as text, nothing runs" if with_browser else ""),
    )


@dataclass(slots=True)
class _Writer:
    """Writes by forms and by the API, and looks at what is answered.

    ``fields`` counts the fields that the payload in hand was written into.
    """

    served: Served
    one: Visitor
    client: httpx2.Client
    tally: Tally
    fields: int = 0

    def form(self, path: str, **values: Any) -> httpx2.Response:
        """Send a form."""
        self.fields += sum(MARK in str(value) for value in values.values())
        return self.looked_at(path, self.one.post(path, **values))

    def api(self, method: str, path: str, body: dict[str, Any]) -> httpx2.Response:
        """Ask the API."""
        self.fields += json.dumps(body).count(MARK) > 0
        return self.looked_at(path, self.client.request(method, path, json=body))

    def send(self, name: str, content: bytes) -> str:
        """Send a file and return its id."""
        answer = self.client.put("/api/uploads", params={"name": name}, content=content)
        return str(self.looked_at("/api/uploads", answer).json()["id"])

    def looked_at(self, path: str, answer: httpx2.Response) -> httpx2.Response:
        """Judge an answer and hand it on."""
        _look(self.served, path, answer, self.tally)
        return answer


def _fill(writer: _Writer, text: str, number: int) -> None:
    """Write a payload into every field of every form and of the API."""
    vehicle = f"{number} {text}"[:110]
    form = writer.form
    begun = form(
        "/visits",
        vehicle=vehicle,
        date="2026-03-01",
        family=text,
        complaint=text,
        mileage=str(number + 1),
        unit="miles",
    )
    visit = begun.headers.get("location", "/visits/1").rpartition("/")[2]
    job = writer.client.get(f"/api/visits/{visit}").json()["job"]["id"]
    _facts_by_form(writer, visit, text)
    form(f"/vehicles/{job}/details", vin=text, plate=text, customer=text)
    form(
        "/workshop/profile",
        name=text,
        contact=f"{text}\n{text}",
        mileage_unit="miles",
        paper="A4",
        currency="GBP",
        number_format="en-GB",
        tax_name=text,
        tax_percent="20",
    )
    form(
        "/workshop/profile",
        name=text,
        mileage_unit=text,
        paper=text,
        currency=text,
        number_format=text,
        language=text,
        tax_percent=text,
    )
    form("/workshop/keys", name=text)
    form("/workshop/policy", **{"limits.code_limit_deg": "9", "limits.code_limit_deg source": text})
    form("/workshop/keys/withdraw", name=f"{text} none")
    engine = {
        "family": text,
        "notes": text,
        "cam.1.role": "intake",
        "cam.1.wheel": text,
        "crank.wheel": "60-2",
        "drive.1.name": text,
        "drive.1.kind": "chain",
        "drive.1.sprocket.1.shaft": "crank",
        "drive.1.sprocket.1.teeth": "20",
        "drive.1.sprocket.2.shaft": "intake",
        "drive.1.sprocket.2.teeth": "40",
        "drive.1.sprocket.2.cams": "intake",
        "drive.1.span.1.between": "crank, intake",
        "drive.1.span.1.guide": text,
        "drive.1.span.1.length_pitches": "20",
        "drive.1.span.2.between": "intake, crank",
        "drive.1.span.2.length_pitches": "20",
    }
    form("/engines", **engine, name=f"own {number}")
    form("/engines", **engine, name=text, action="keep")
    form("/engines", name=text, action=f"add {text}", **{"drive.1.sprocket.1.shaft": text})
    form(f"/engines/own {number}/preview.svg", **engine)
    form("/sign-in", pass_phrase=text, goes_to=text)
    form("/language", language=text[:10], back=text)
    _by_api(writer, visit, job, text, number)
    _recording(writer, visit, text)


def _facts_by_form(writer: _Writer, visit: str, text: str) -> None:
    """Write a payload into every form of a visit's page."""
    at, form = f"/visits/{visit}", writer.form
    form(f"{at}/complaint", text=text, codes=text)
    form(
        f"{at}/hook-up",
        signal=text,
        connector=text,
        pin=text,
        wire=text,
        probed_at=text,
        unplugged=text,
        sealed=text,
    )
    form(f"{at}/advice", text=text)
    form(f"{at}/choice", text=text, accepted="yes")
    form(f"{at}/offer", option="repair-now", text=text, low="10", high="20", recheck_mileage="100")
    form(f"{at}/offer", option="repair-now", text="x", low=text, high=text, recheck_mileage=text)
    form(f"{at}/repair", text=text)
    form(f"{at}/price", text=text, amount="10")
    form(f"{at}/price", text="x", amount=text)
    form(f"{at}/check", name=text)
    form(f"{at}/note", text=text)
    form(f"{at}/roles", recording=text[:60], channel=text, role=text)
    form(f"{at}/compare", family=text, known_good=text, limit_deg=text)


def _by_api(writer: _Writer, visit: str, job: int, text: str, number: int) -> None:
    """Write a payload into every text of the API."""
    api = writer.api
    plain = "".join(char if char.isprintable() else "" for char in text)  # the rest is refused
    for words in (text, plain):
        facts: list[dict[str, Any]] = [
            {"kind": "complaint", "text": words},
            {"kind": "advice", "text": words},
            {"kind": "note", "text": words},
            {"kind": "choice", "text": words, "accepted": True},
            {"kind": "codes-read", "codes": ["P0016"], "note": words},
            {"kind": "check", "when": "before", "name": words, "done": True, "note": words},
            {"kind": "repair", "text": words, "chain_replaced": False},
            {"kind": "price-item", "text": words, "amount": "1.00", "currency": "GBP"},
            {
                "kind": "offer",
                "option": "watch",
                "text": words,
                "low": "1",
                "high": "2",
                "currency": "GBP",
            },
            {
                "kind": "hook-up",
                "signal": words,
                "connector": words,
                "pin": words,
                "wire": words,
                "probed_at": words,
                "unplugged": words,
            },
        ]
        for fact in facts:
            api("POST", f"/api/visits/{visit}/facts", {"fact": fact})
            api("POST", f"/api/jobs/{job}/facts", {"fact": fact})
        api(
            "POST",
            "/api/jobs",
            {
                "vehicle": f"api {number} {words}"[:120],
                "title": words,
                "family": words,
                "workshop": words,
                "vin": words,
            },
        )
        api("PUT", "/api/profile", {"name": words, "contact": words, "tax_name": words})
        api("PUT", "/api/engines/api", {"text": f"family = {json.dumps(words)}\n"})
        api(
            "PUT",
            "/api/policy",
            {"text": "[limits.code_limit_deg]\nvalue = 9.0\nsource = " + json.dumps(words)},
        )
        api("PUT", "/api/policy", {"text": words})


def _recording(writer: _Writer, visit: str, text: str) -> None:
    """Send a recording and a known-good whose names and texts are a payload."""
    upload = writer.send(f"{text}.json", _known_good(writer.served, text))
    writer.api("POST", "/api/imports/known-goods", {"upload": upload})
    upload = writer.send(f"{text}.csv", _renamed(writer.served, text))
    path = f"/api/uploads/{upload}/channels"
    found = writer.looked_at(path, writer.client.get(path)).json()
    names = [name for name in found if isinstance(name, str) and " " in name]
    roles = {name.partition(" ")[0]: name[:200] for name in names}
    asked = {"uploads": [upload], "crank": roles.pop("crank", None), "cams": roles or None}
    answer = writer.api("POST", f"/api/visits/{visit}/recordings", asked)
    if answer.status_code == 202:
        with writer.client.stream("GET", f"/api/works/{answer.json()['id']}/events") as followed:
            for _ in followed.iter_lines():
                pass
    writer.form(f"/visits/{visit}/known-good", family=text, verified_by=text, conditions=text)
    writer.form(f"/visits/{visit}/compare", family="", known_good="", limit_deg="8")


def _known_good(served: Served, text: str) -> bytes:
    """Return a known-good as another workshop could send it, every text of it a payload."""
    with open_store(served.shop) as store:
        base = store.shelf.get(store.shelf.list()[-1].id)
    measured = base.measurement
    provenance = replace(measured.provenance, conditions=text, measured_by=text, engine_family=text)
    measured = replace(
        measured, provenance=provenance, recording=replace(measured.recording, name=f"{text}.csv")
    )
    grade = replace(base.grade, verified_by=text, sensor=text, note=text)
    return to_text(make(measured, family=text, grade=grade, added_at=base.added_at)).encode()


def _renamed(served: Served, text: str) -> bytes:
    """Take a kept recording, and give its cams a payload as names of their channels."""
    path = max((served.shop / "originals").rglob("*"), key=lambda path: path.stat().st_size)
    with path.open("rb") as file:
        names = next(csv.reader([file.readline().decode()]))
        out = io.StringIO()
        csv.writer(out).writerow([*names[:2], *(f"{name} {text}" for name in names[2:])])
        return out.getvalue().encode() + b"".join(file.readlines()[:60_000])


def _addresses(client: httpx2.Client, one: Visitor) -> list[str]:
    """Every page, picture, report and document that shows what was written."""
    found = list(_PAGES)
    for row in client.get("/api/jobs").json():
        job = row["job"]["id"]
        found += [f"/vehicles/{job}", f"/vehicles/{job}/history.svg", f"/api/jobs/{job}"]
        for visit in client.get(f"/api/jobs/{job}").json()["visits"]:
            number = visit["visit"]["id"]
            found += [f"/visits/{number}", f"/api/visits/{number}", f"/visits/{number}/angle-view"]
            if visit["measurements"]:
                at = f"/visits/{number}/report"
                found += [
                    f"{at}.{form}?reader={reader}"
                    for form in ("pdf", "html", "csv", "json")
                    for reader in ("owner", "technician")
                ]
                found += [f"/api/visits/{number}/angle-view"]
    for row in client.get("/api/known-goods", params={"limit": 500}).json():
        found += [f"/known-goods/{row['id']}", f"/known-goods/{row['id']}/angle-view.svg"]
    for name in {row["name"] for row in client.get("/api/engines").json()}:
        found += [f"/engines/{name}{more}" for more in ("", "/edit", "/drawing.svg", "/file.toml")]
    links = re.findall(r'href="(/known-goods/family\?[^"]+)"', one.client.get("/known-goods").text)
    return found + [link.replace("&amp;", "&") for link in links]


def _look(served: Served, address: str, answer: httpx2.Response, tally: Tally) -> None:
    """Judge one answer by itself: no failure inside, no markup from a payload, no formula."""
    text, kind = answer.text, answer.headers.get("content-type", "")
    # The workshop's page says where everything is kept, to those who may come in.
    held = answer.status_code < 500 and (address.startswith("/workshop") or not leaks(text, served))
    if "html" in kind:
        held = held and not re.search(
            rf"<(?:script>{MARK}|(?:img|svg|iframe|b)\b[^>]*class={MARK})", text
        )
        held = held and "62615533" not in text
    if "svg" in kind and answer.status_code == 200:
        root = ET.fromstring(text)  # noqa: S314  made by our own server
        names = {element.tag.rpartition("}")[2] for element in root.iter()}
        events = [key for element in root.iter() for key in element.attrib if key.startswith("on")]
        held = held and not names & {"script", "foreignObject", "iframe", "img", "b"} and not events
    if "csv" in kind:
        cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
        formulas = [
            cell for cell in cells if cell[:1] in "=+@\t\r" and cell and not _is_number(cell)
        ]
        held = held and not formulas
    tally.note((address[:100], answer.status_code, kind), held=held)


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True
