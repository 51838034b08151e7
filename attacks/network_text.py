"""HTML, scripts, template and formula texts in every text field, and everywhere that shows them."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final
from xml.etree import ElementTree as ET

from attacks.network_server import Served, Tally, leaks, program, visitor
from attacks.outcome import Outcome
from crankwise.store import open_store
from crankwise.store.portable import make, to_text

if TYPE_CHECKING:
    import httpx2

    from attacks.network_server import Visitor

MARK: Final = "zqx"
"""Every element, attribute or dialog that a payload would make bears it."""
PAYLOADS: Final = (
    f"<script>{MARK}=alert('{MARK}')</script>",
    f"\"><img src=x onerror=alert('{MARK}') class={MARK}>",
    f"'><svg onload=alert('{MARK}') class={MARK}>",
    f"</textarea></title></style><iframe class={MARK} srcdoc='<script>alert(1)</script>'>",
    f"javascript:alert('{MARK}')",
    f"\" autofocus onfocus=alert('{MARK}') x=\"{MARK}",
    f"{{{{7919*7907}}}}{{% {MARK} %}}${{7919*7907}}<%= 7919*7907 %>#{{7919*7907}}",
    f"=HYPERLINK(\"http://else.example/{MARK}\",\"x\")",
    f"@SUM(1+1)*cmd|' /C calc'!{MARK}",
    f"#import \"{MARK}\"; #eval(\"7919*7907\") $ x $ \\ *b* @{MARK}",
    f"<!--{MARK}--><![CDATA[<b class={MARK}>]]>&{MARK};%3Cscript%3E",
    f"\u202e{MARK}\u2066\u200b\u0000\u001b[2J\u0007<b class={MARK}>",
)
_PAGES: Final = (
    "/", f"/?search={MARK}", "/visits/new", "/known-goods", "/engines", "/workshop", "/watching",
)
_CHROMIUM: Final = ("chromium", "chromium-browser", "google-chrome")
_QUIET: Final = (
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync",
    "--disable-component-update", "--no-first-run", "--disable-quic",
)  # fmt: skip
_ELEMENTS: Final = f"""() => {{
  const all = [...document.querySelectorAll('*')];
  const bad = all.filter((e) => [...e.attributes].some((a) => a.name.startsWith('on'))
    || /\\b{MARK}\\b/.test(e.getAttribute('class') ?? '')
    || (e.getAttribute('href') ?? e.getAttribute('src') ?? '').trim().startsWith('javascript:'));
  return bad.map((e) => e.outerHTML.slice(0, 120)).concat(window.{MARK} ? ['ran'] : []);
}}"""


def texts(local: Served) -> Outcome:
    """Fill every text field with every payload, then look at every page, picture and report."""
    tally = Tally()
    one = visitor(local)
    with program(local) as client:
        fields = 0
        for number, payload in enumerate(PAYLOADS):
            fields = _fill(local, one, client, payload, number, tally)
        addresses = _addresses(client, one)
        for address in addresses:
            answer = one.client.get(address)
            _look(local, address, answer, tally)
    with_browser = _browse(local, addresses, tally)
    return Outcome("HTML, scripts, templates, formulas in every text field", tally.tried,
                   len(tally.through),
                   f"{len(PAYLOADS)} payloads in {fields} fields, seen at {len(addresses)} addresses"
                   + (" and in Chromium; shown as text, nothing runs" if with_browser else ""))  # fmt: skip


def _fill(
    served: Served, one: Visitor, client: httpx2.Client, text: str, number: int, tally: Tally
) -> int:
    """Write a payload into every field of every form and of the API; returns how many."""
    vehicle = f"{number} {text}"[:110]
    seen: list[httpx2.Response] = []
    fields = 0

    def form(path: str, **values: Any) -> httpx2.Response:
        nonlocal fields
        fields += sum(value is text for value in values.values())
        answer = one.post(path, **values)
        seen.append(answer)
        return answer

    def api(method: str, path: str, body: dict[str, Any]) -> httpx2.Response:
        nonlocal fields
        fields += json.dumps(body).count(MARK) > 0
        plain = json.loads(json.dumps(body))
        answer = client.request(method, path, json=plain)
        seen.append(answer)
        return answer

    begun = form("/visits", vehicle=vehicle, date="2026-03-01", family=text, complaint=text,
                 mileage=str(number + 1), unit="miles")  # fmt: skip
    visit = begun.headers.get("location", "/visits/1").rpartition("/")[2]
    job = client.get(f"/api/visits/{visit}").json()["job"]["id"]
    _facts_by_form(form, visit, text)
    form(f"/vehicles/{job}/details", vin=text, plate=text, customer=text)
    form("/workshop/profile", name=text, contact=f"{text}\n{text}", mileage_unit="miles",
         paper="A4", currency="GBP", number_format="en-GB", tax_name=text, tax_percent="20")  # fmt: skip
    form("/workshop/profile", name=text, mileage_unit=text, paper=text, currency=text,
         number_format=text, language=text, tax_percent=text)  # fmt: skip
    form("/workshop/keys", name=text)
    form("/workshop/policy", **{"limits.code_limit_deg": "9", "limits.code_limit_deg source": text})
    form("/workshop/keys/withdraw", name=f"{text} none")
    engine = {"family": text, "notes": text, "cam.1.role": "intake", "cam.1.wheel": text,
              "crank.wheel": "60-2", "drive.1.name": text, "drive.1.kind": "chain",
              "drive.1.sprocket.1.shaft": "crank", "drive.1.sprocket.1.teeth": "20",
              "drive.1.sprocket.2.shaft": "intake", "drive.1.sprocket.2.teeth": "40",
              "drive.1.sprocket.2.cams": "intake", "drive.1.span.1.between": "crank, intake",
              "drive.1.span.1.guide": text, "drive.1.span.1.length_pitches": "20",
              "drive.1.span.2.between": "intake, crank", "drive.1.span.2.length_pitches": "20"}  # fmt: skip
    form("/engines", **engine, name=f"own {number}")
    form("/engines", **engine, name=text, action="keep")
    form("/engines", name=text, action=f"add {text}", **{"drive.1.sprocket.1.shaft": text})
    form(f"/engines/own {number}/preview.svg", **engine)
    form("/sign-in", pass_phrase=text, goes_to=text)
    form("/language", language=text[:10], back=text)
    _by_api(api, visit, job, text, number)
    _recording(served, client, one, visit, text, number, tally)
    for answer in seen:
        _look(served, str(answer.url.path), answer, tally)
    return fields


def _facts_by_form(form: Any, visit: str, text: str) -> None:
    """Write a payload into every form of a visit's page."""
    at = f"/visits/{visit}"
    form(f"{at}/complaint", text=text, codes=text)
    form(f"{at}/hook-up", signal=text, connector=text, pin=text, wire=text, probed_at=text,
         unplugged=text, sealed=text)  # fmt: skip
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


def _by_api(api: Any, visit: str, job: int, text: str, number: int) -> None:
    """Write a payload into every text of the API."""
    plain = "".join(char if char.isprintable() else "" for char in text)  # the rest is refused
    for words in (text, plain):
        facts: list[dict[str, Any]] = [
            {"kind": "complaint", "text": words}, {"kind": "advice", "text": words},
            {"kind": "note", "text": words}, {"kind": "choice", "text": words, "accepted": True},
            {"kind": "codes-read", "codes": ["P0016"], "note": words},
            {"kind": "check", "when": "before", "name": words, "done": True, "note": words},
            {"kind": "repair", "text": words, "chain_replaced": False},
            {"kind": "price-item", "text": words, "amount": "1.00", "currency": "GBP"},
            {"kind": "offer", "option": "watch", "text": words, "low": "1", "high": "2", "currency": "GBP"},
            {"kind": "hook-up", "signal": words, "connector": words, "pin": words, "wire": words,
             "probed_at": words, "unplugged": words},
        ]  # fmt: skip
        for fact in facts:
            api("POST", f"/api/visits/{visit}/facts", {"fact": fact})
            api("POST", f"/api/jobs/{job}/facts", {"fact": fact})
        api("POST", "/api/jobs", {"vehicle": f"api {number} {words}"[:120], "title": words,
                                  "family": words, "workshop": words, "vin": words})  # fmt: skip
        api("PUT", "/api/profile", {"name": words, "contact": words, "tax_name": words})
        api("PUT", "/api/engines/api", {"text": f'family = {json.dumps(words)}\n'})
        api("PUT", "/api/policy", {"text": '[limits.code_limit_deg]\nvalue = 9.0\nsource = '
                                   + json.dumps(words)})  # fmt: skip
        api("PUT", "/api/policy", {"text": words})


def _recording(
    served: Served, client: httpx2.Client, one: Visitor, visit: str, text: str, number: int,
    tally: Tally,
) -> None:  # fmt: skip
    """Send a recording and a known-good whose names and texts are a payload."""
    sent = client.put("/api/uploads", params={"name": f"{text}.json"}, content=_known_good(served, text))
    answer = client.post("/api/imports/known-goods", json={"upload": sent.json()["id"]})
    _look(served, "/api/imports", answer, tally)
    sent = client.put("/api/uploads", params={"name": f"{text}.csv"}, content=_renamed(served, text))
    upload = sent.json()["id"]
    answer = client.get(f"/api/uploads/{upload}/channels")
    _look(served, "/api/uploads", answer, tally)
    names = [name for name in answer.json() if isinstance(name, str) and " " in name]
    roles = {name.partition(" ")[0]: name[:200] for name in names}
    asked = {"uploads": [upload], "crank": roles.pop("crank", None), "cams": roles or None}
    answer = client.post(f"/api/visits/{visit}/recordings", json=asked)
    _look(served, "/api/recordings", answer, tally)
    if answer.status_code == 202:
        with client.stream("GET", f"/api/works/{answer.json()['id']}/events") as followed:
            for _ in followed.iter_lines():
                pass
    for path, fields in (
        ("known-good", {"family": text, "verified_by": text, "conditions": text}),
        ("compare", {"family": "", "known_good": "", "limit_deg": "8"}),
    ):
        _look(served, f"/{path} of {number}", one.post(f"/visits/{visit}/{path}", **fields), tally)


def _known_good(served: Served, text: str) -> bytes:
    """Return a known-good as another workshop could send it, every text of it a payload."""
    with open_store(served.shop) as store:
        base = store.shelf.get(store.shelf.list()[-1].id)
    measured = base.measurement
    provenance = replace(measured.provenance, conditions=text, measured_by=text, engine_family=text)
    measured = replace(measured, provenance=provenance,
                       recording=replace(measured.recording, name=f"{text}.csv"))  # fmt: skip
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
                found += [f"{at}.{form}?reader={reader}" for form in ("pdf", "html", "csv", "json")
                          for reader in ("owner", "technician")]  # fmt: skip
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
        held = held and not re.search(rf"<(?:script>{MARK}|(?:img|svg|iframe|b)\b[^>]*\b{MARK})", text)
        held = held and "62615533" not in text
    if "svg" in kind and answer.status_code == 200:
        root = ET.fromstring(text)  # noqa: S314  made by our own server
        names = {element.tag.rpartition("}")[2] for element in root.iter()}
        events = [key for element in root.iter() for key in element.attrib if key.startswith("on")]
        held = held and not names & {"script", "foreignObject", "iframe", "img", "b"} and not events
    if "csv" in kind:
        cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
        formulas = [cell for cell in cells if cell[:1] in "=+@\t\r" and cell and not _is_number(cell)]
        held = held and not formulas
    tally.note((address[:100], answer.status_code, kind), held=held)


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _browse(served: Served, addresses: list[str], tally: Tally) -> bool:
    """Open every page and picture in Chromium: no dialog, no error, no element of a payload."""
    program_path = next(filter(None, map(shutil.which, _CHROMIUM)), None)
    if program_path is None:
        return False
    from playwright.sync_api import sync_playwright  # noqa: PLC0415  needs a browser

    wanted = [address for address in addresses
              if not address.startswith("/api") and not re.search(r"\.(?:pdf|csv|json|toml)", address)]  # fmt: skip
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program_path, args=list(_QUIET))
        context = browser.new_context(base_url=served.address)
        page = context.new_page()
        seen: list[str] = []
        page.on("dialog", lambda dialog: (seen.append(f"dialog {dialog.message}"), dialog.dismiss()))
        page.on("console", lambda said: seen.append(said.text)
                if "Content Security" in said.text or MARK in said.text else None)  # fmt: skip
        page.on("request", lambda asked: seen.append(asked.url)
                if "else.example" in asked.url else None)  # fmt: skip
        for address in wanted:
            seen.clear()
            answer = page.goto(address, wait_until="load")
            made = page.evaluate(_ELEMENTS)
            is_there = answer is not None and answer.status < 500
            tally.note((address[:100], seen, made), held=is_there and not seen and not made)
        browser.close()
    return True
