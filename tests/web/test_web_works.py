"""Work beside the pages, and who follows it: several at once, after a break, to its end."""

from __future__ import annotations

import asyncio
import json
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import httpx2
import pytest
import uvicorn

from crankwise.errors import NotMeasurableError
from crankwise.language import current, using
from crankwise.web.app import create_app
from crankwise.web.settings import Settings
from crankwise.web.works import Works

LISTENERS = 60
"""More than the 40 threads that routes run in: one for each would leave none for pages."""


def run(coroutine):
    """Run a coroutine in a thread: a browser left open by other tests keeps a loop in this one."""
    with ThreadPoolExecutor(max_workers=1) as pool:
        return pool.submit(asyncio.run, coroutine).result()


@pytest.fixture
def works():
    made = Works()
    yield made
    made.close()


def run_over(works: Works, identifier: str, *, seen: int = -1):
    async def follow():
        return [work async for work in works.follow(identifier, seen=seen)]

    return run(asyncio.wait_for(follow(), timeout=10))


def test_work_is_told_from_beginning_to_end(works):
    go_on = threading.Event()

    def job(tell):
        go_on.wait(5)
        tell("looking", 0.5)
        return "/visits/3"

    work = works.start("van.csv", job)
    assert (work.title, work.version) == ("van.csv", 0)
    threading.Timer(0.1, go_on.set).start()
    told = run_over(works, work.id)
    assert told[-1].state == "done"
    assert told[-1].goes_to == "/visits/3"
    assert told[-1].step == "looking"  # what came of it stays
    assert [work.version for work in told] == sorted({work.version for work in told})
    assert works.get(work.id) == told[-1]


def test_work_that_fails_says_why_in_one_line(works):
    def job(_tell):
        raise NotMeasurableError("no crank in it: record it again")

    work = works.start("van.csv", job)
    assert run_over(works, work.id)[-1].error == "no crank in it: record it again"


def test_a_defect_tells_nothing_of_the_inside(works, caplog):
    def job(_tell):
        raise ZeroDivisionError("a detail")

    work = works.start("van.csv", job)
    last = run_over(works, work.id)[-1]
    assert last.state == "failed"
    assert "went wrong" in last.error
    assert "detail" not in last.error
    assert "a detail" in caplog.text


def test_whoever_comes_late_or_comes_back_is_told_what_is_new(works):
    work = works.start("van.csv", lambda tell: tell("a", 0.3) or tell("b", 0.6) or "/")
    last = run_over(works, work.id)[-1]
    assert run_over(works, work.id) == [last]
    assert run_over(works, work.id, seen=last.version) == [last]
    assert run_over(works, work.id, seen=last.version + 5) == [last]
    assert run_over(works, "nothing") == []


def test_whoever_comes_back_in_between_is_not_told_the_same_again(works):
    go_on = threading.Event()

    def job(tell):
        tell("looking", 0.5)
        go_on.wait(5)
        return "/"

    work = works.start("van.csv", job)
    while works.get(work.id).step != "looking":
        time.sleep(0.005)
    seen = works.get(work.id).version
    threading.Timer(0.1, go_on.set).start()
    assert [told.version for told in run_over(works, work.id, seen=seen)] == [seen + 1]


def test_work_speaks_the_language_of_whoever_began_it(works):
    with using("de"):
        work = works.start("van.csv", lambda _: f"/{current()}")
    assert run_over(works, work.id)[-1].goes_to == "/de"


def test_many_follow_at_once_and_leave_no_trace(works):
    begun = threading.Event()

    def job(tell):
        begun.wait(5)
        for number in range(50):
            tell(f"step {number}", number / 50)
        return "/"

    async def follow(identifier):
        return [work async for work in works.follow(identifier)][-1].state

    async def all_of_them():
        work = works.start("van.csv", job)
        follower = [asyncio.create_task(follow(work.id)) for _ in range(200)]
        await asyncio.sleep(0.05)
        follower.pop().cancel()  # a tab that is closed
        begun.set()
        return await asyncio.gather(*follower)

    assert run(asyncio.wait_for(all_of_them(), timeout=10)) == ["done"] * 199
    assert not works._listeners


def test_finished_work_is_forgotten_after_a_while(works):
    first = works.start("first", lambda _: "/")
    run_over(works, first.id)
    for number in range(205):
        run_over(works, works.start(f"{number}", lambda _: "/").id)
    assert works.get(first.id) is None
    assert len(works._works) <= 201


# --- over HTTP ------------------------------------------------------------------------------------


def events_of(answer: httpx2.Response) -> list[dict]:
    """Events of a stream as the HTML standard parses them (section 9.2.6)."""
    events, fields = [], {}
    for line in answer.iter_lines():
        name, _, value = line.partition(":")
        if not line and "data" in fields:
            events.append({**json.loads(fields["data"]), "event id": fields["id"]})
            fields = {}
        elif name:
            fields[name] = value.removeprefix(" ")
    return events


def test_events_tell_a_measurement_from_beginning_to_end(program, recordings):
    data = recordings["new"].read_bytes()
    upload = program.put("/api/uploads?name=van.csv", content=data).json()
    work = program.post("/api/visits/1/recordings", json={"uploads": [upload["id"]]}).json()
    with program.stream("GET", f"/api/works/{work['id']}/events") as answer:
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("text/event-stream")
        events = events_of(answer)
    assert events[-1]["state"] == "done"
    assert events[-1]["goes_to"] == "/visits/1"
    assert events[-1]["step"].startswith("Compared with ")
    assert [int(event["event id"]) for event in events] == [event["version"] for event in events]
    shown = program.get(f"/api/works/{work['id']}").json()
    assert shown == {key: events[-1][key] for key in shown}
    for seen in ("3", str(shown["version"]), "", "x", "-1", "\u0663", "9" * 50):
        headers = {"last-event-id": seen.encode()}
        with program.stream("GET", f"/api/works/{work['id']}/events", headers=headers) as answer:
            assert events_of(answer) == events[-1:]


@pytest.mark.parametrize("path", ["/api/works/nothing", "/api/works/nothing/events"])
def test_work_that_is_not_known_is_not_there(program, path):
    answer = program.get(path)
    assert answer.status_code == 404
    assert set(answer.json()) == {"error"}


@pytest.fixture
def served(shop):
    """A real server, with work that waits for the test."""
    app = create_app(Settings(store=str(shop)))
    config = uvicorn.Config(app, port=0, log_level="warning", access_log=False)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield app, f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(timeout=10)


def test_many_listeners_hold_up_no_page(served):
    app, address = served
    go_on = threading.Event()
    work = app.state.desk.works.start("van.csv", lambda _: str(go_on.wait(20)))

    async def listen(client, heard, listens):
        async with client.stream("GET", f"/api/works/{work.id}/events") as answer:
            async for line in answer.aiter_lines():
                if line.startswith("data:"):
                    heard.append(json.loads(line[5:])["state"])
                    listens.set()

    async def all_of_them():
        limits = httpx2.Limits(max_connections=LISTENERS + 5)
        async with httpx2.AsyncClient(base_url=address, limits=limits, timeout=20) as client:
            await client.get("/")
            heard = [[] for _ in range(LISTENERS)]
            listens = [asyncio.Event() for _ in heard]
            tasks = [
                asyncio.create_task(listen(client, *pair))
                for pair in zip(heard, listens, strict=True)
            ]
            await asyncio.gather(*(event.wait() for event in listens))
            begun = time.perf_counter()
            for _ in range(5):
                assert (await client.get("/")).status_code == 200
            took_s = (time.perf_counter() - begun) / 5
            go_on.set()
            await asyncio.gather(*tasks)
            return heard, took_s

    heard, took_s = run(asyncio.wait_for(all_of_them(), timeout=30))
    assert {states[0] for states in heard} <= {"waiting", "running"}
    assert [states[-1] for states in heard] == ["done"] * LISTENERS
    assert took_s < 1.0


def test_a_failure_is_left_out_once_it_was_mended(works):
    def fails(_tell):
        raise NotMeasurableError("no crank signal found; check the leads")

    def failed_titles():
        return [work.title for work in works.about("visit 1") if work.state == "failed"]

    for title in ("van.csv", "van.csv", "other.csv"):
        run_over(works, works.start(title, fails, about="visit 1").id)
    assert failed_titles() == ["van.csv", "other.csv"]
    run_over(works, works.start("elsewhere.csv", lambda _tell: "/", about="visit 2").id)
    assert failed_titles() == ["van.csv", "other.csv"]
    run_over(works, works.start("good.csv", lambda _tell: "/", about="visit 1").id)
    assert failed_titles() == []
