"""Only the page itself may ask; whatever else is sent gets one sentence and nothing of the study.

The checks follow common practice against requests from other sites, see the Fetch Metadata and
Content Security Policy recommendations of the W3C (from memory).
"""

import asyncio
import json
from concurrent.futures import ThreadPoolExecutor

import pytest
from asking import HOST, PORT, TOKEN, ask, post
from hypothesis import given, settings
from hypothesis import strategies as st

GOOD = {"kind": "looked", "value": {}, "why": "", "who": "R1"}


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"host": f"localhost:{PORT}"}, 403),
        ({"host": "127.0.0.1"}, 403),
        ({"host": f"evil.example:{PORT}"}, 403),
        ({"host": ""}, 403),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": f"https://{HOST}"}, 403),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
    ],
)
def test_a_request_from_elsewhere_is_refused(app, headers, status):
    answer = ask(app, "api/study", headers=headers)
    assert answer.status == status
    assert set(answer.json()) == {"error"}


@pytest.mark.parametrize("token", ["", "x", "a-token-of-the-test", "a-token-of-the-tests2", "ä"])
def test_without_the_token_there_is_nothing(app, token):
    answer = ask(app, "api/study", token=token) if token else ask(app, "/api/study", token="")
    assert answer.status == 404
    assert answer.json() == {"error": "There is nothing here."}


@pytest.mark.parametrize(
    ("more", "status"),
    [
        ({"headers": {"origin": ""}}, 403),
        ({"headers": {"content-type": "text/plain"}}, 415),
        ({"headers": {"content-type": "application/x-www-form-urlencoded"}}, 415),
        ({"headers": {"content-length": "5000"}}, 413),
        ({"headers": {"content-length": "x"}}, 413),
        ({"method": "PUT"}, 405),
        ({"method": "DELETE"}, 405),
    ],
)
def test_what_changes_something_must_be_json_from_the_page(app, more, status):
    body = json.dumps(GOOD).encode()
    answer = ask(app, "api/decide/1", **{"method": "POST", "body": body} | more)
    assert answer.status == status


def test_a_body_longer_than_it_claims_is_not_read(app):
    body = json.dumps(GOOD | {"why": "x" * 5000}).encode()
    answer = ask(app, "api/decide/1", method="POST", body=body, headers={"content-length": "10"})
    assert answer.status == 413


def test_a_long_body_is_read_to_its_end_before_it_is_refused(app):
    """A connection closed while 5 MB are still being sent breaks before the answer is read."""
    scope = {
        "type": "http", "method": "POST", "path": f"/{TOKEN}/api/decide/1", "query_string": b"",
        "headers": [
            (b"host", HOST.encode()), (b"origin", f"http://{HOST}".encode()),
            (b"content-type", b"application/json"), (b"content-length", b"5000000"),
        ],
    }  # fmt: skip
    left, sent = [50], []

    async def receive():
        left[0] -= 1
        return {"type": "http.request", "body": b"x" * 100_000, "more_body": left[0] > 0}

    async def send(message):
        sent.append((left[0], message))

    with ThreadPoolExecutor(1) as thread:
        thread.submit(lambda: asyncio.run(app(scope, receive, send))).result()
    assert sent[0][1]["status"] == 413
    assert sent[0][0] == 0  # what was still to come when the answer began


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"who": "<script>alert(1)</script>"}, b"`who`"),
        ({"who": "R1\u202e"}, b"`who`"),
        ({"why": "turn \u202eegap", "kind": "cycle", "value": {"start_s": 3.0, "use": False}},
         b"direction of writing"),
    ],
)  # fmt: skip
def test_only_codes_and_plain_reasons_are_kept(app, session, changed, named):
    before = len(session.decisions())
    answer = post(app, "api/decide/1", GOOD | changed)
    assert answer.status == 400
    assert named in answer.body
    assert len(session.decisions()) == before


def test_every_answer_says_that_nothing_else_may_load_or_frame_it(app):
    for path in ("", "main.js", "api/study", "nothing", "tile/x/0/0"):
        headers = ask(app, path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["x-content-type-options"] == "nosniff"
        assert not [name for name in headers if name.startswith("access-control")]


def test_no_file_of_the_page_names_another_address(app):
    for path in ("", "main.js", "review.css", "texts.json", "rows.js", "tiles.js"):
        text = ask(app, path).body.decode()
        for word in ("https://", "//cdn", "http://"):
            assert word not in text.replace("http://www.w3.org/2000/svg", "")


PIECES = st.sampled_from(
    ["..", ".", "", "%2e%2e", "etc", "passwd", "study.toml", "trials.csv", "api", "study", "tile",
     "recording", "curves", "0", "-1", "99999999999999999999", "1e9", "nan", "\\", "\x00", "ä",
     "decisions.jsonl", "review.html", "~", "//", "main.js", "%00"]
)  # fmt: skip


@given(st.lists(PIECES, max_size=6))
@settings(max_examples=100)
def test_no_path_leaves_the_page(app, pieces):
    path = "/".join(pieces)
    answer = ask(app, path)
    assert answer.status in (200, 307, 404, 405)
    assert b"Traceback" not in answer.body
    assert b"[study]\ntitle" not in answer.body
    assert b"participant,condition" not in answer.body
    assert b"root:" not in answer.body


VALUES = st.recursive(
    st.one_of(
        st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=12),
        st.sampled_from(["lag", "cycle", "interval", "recording", "undo", "blind", "R1", "*"]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(
            st.sampled_from(["lag_s", "drift_ppm", "start_s", "end_s", "which", "use", "of", "x"]),
            inner, max_size=3,
        ),
    ),
    max_leaves=6,
)  # fmt: skip
BODIES = st.one_of(
    st.binary(max_size=60),
    st.dictionaries(
        st.sampled_from(["kind", "value", "why", "who", "lag_s", "drift_ppm", "on", "holds"]),
        VALUES,
        max_size=6,
    ).map(lambda given: json.dumps(given).encode()[:4000]),
    st.just(b"[" * 3000),
)


@given(
    st.sampled_from(["place/2", "place/1", "decide/2", "decide/77", "effect/7", "blind"]), BODIES
)
@settings(max_examples=60)
def test_whatever_is_sent_no_traceback_is_shown_and_no_nonsense_kept(app, session, path, body):
    before = len(session.decisions())
    answer = ask(app, f"api/{path}", method="POST", body=body)
    assert answer.status in (200, 400, 403, 404)
    assert b"Traceback" not in answer.body
    if answer.status != 200:
        assert set(answer.json()) == {"error"}
        assert len(session.decisions()) == before


def test_the_page_can_ask_to_stop(app, stopped):
    assert post(app, "api/stop", {}).json() == {"stopped": True}
    assert stopped == [True]
