"""A client that follows nothing and hides nothing, and pages as a browser takes them apart."""

from __future__ import annotations

import http.client
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from email.message import Message
from html.parser import HTMLParser
from urllib.parse import parse_qsl, urlencode, urljoin, urlsplit

from django.urls import Resolver404, resolve


@dataclass(frozen=True)
class Answer:
    """What came back, untouched: no redirect is followed."""

    status: int
    headers: Message
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode()

    @property
    def page(self) -> Page:
        return Page.of(self.text)


class Client:
    """Asks one thing at a time and keeps cookies; says everything that it is told to say."""

    def __init__(self, port: int, host: str = "127.0.0.1") -> None:
        self.port, self.host = port, host
        self.cookies: dict[str, str] = {}

    def ask(
        self,
        path: str,
        *,
        method: str = "GET",
        body: bytes | None = None,
        headers: Mapping[str, str] | None = None,
        seconds: float = 30,
    ) -> Answer:
        link = http.client.HTTPConnection(self.host, self.port, timeout=seconds)
        said = {"Cookie": "; ".join(f"{k}={v}" for k, v in self.cookies.items())}
        try:
            link.request(
                method, path, body, {k: v for k, v in said.items() if v} | (headers or {})
            )
            answer = link.getresponse()
            body = answer.read()
        finally:
            link.close()
        for each in answer.headers.get_all("Set-Cookie", []):
            name, _, value = each.strip().split(";")[0].partition("=")
            self.cookies[name] = value
        return Answer(answer.status, answer.headers, body)

    def post(
        self, path: str, fields: Mapping[str, str | list[str]], *, seen_on: str | None = None
    ) -> Answer:
        """Sends a form with the token of the page that holds it."""
        page = self.ask(seen_on or path).page
        token = page.forms[-1].values["csrfmiddlewaretoken"]
        return self.send(path, {"csrfmiddlewaretoken": token, **fields})

    def send(
        self,
        path: str,
        fields: Mapping[str, str | list[str]],
        headers: Mapping[str, str] | None = None,
    ) -> Answer:
        kind = {"Content-Type": "application/x-www-form-urlencoded", **(headers or {})}
        data = urlencode(fields, doseq=True).encode()
        return self.ask(path, method="POST", body=data, headers=kind)


@dataclass
class Form:
    action: str
    method: str
    values: dict[str, str | list[str]] = field(default_factory=dict)
    texts: dict[str, int] = field(default_factory=dict)  # name -> greatest length


@dataclass
class Page:
    """A page as a browser takes it apart."""

    tags: list[tuple[str, dict[str, str | None]]] = field(default_factory=list)
    forms: list[Form] = field(default_factory=list)

    @classmethod
    def of(cls, text: str) -> Page:
        page = cls()
        reader = _Taking(page)
        reader.feed(text)
        reader.close()
        return page

    @property
    def links(self) -> list[str]:
        return [
            facts[name]
            for tag, facts in self.tags
            for name in ("href", "src")
            if tag in ("a", "img") and facts.get(name)
        ]


class _Taking(HTMLParser):
    def __init__(self, page: Page) -> None:
        super().__init__()
        self.page, self.form = page, None
        self.area, self.select = None, None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        facts = dict(attrs)
        self.page.tags.append((tag, facts))
        if tag == "form":
            self.form = Form(facts.get("action") or "", (facts.get("method") or "get").lower())
            self.page.forms.append(self.form)
        elif self.form is not None:
            self._in_form(tag, facts)

    def _in_form(self, tag: str, facts: dict[str, str | None]) -> None:
        name, kind = facts.get("name"), facts.get("type") or "text"
        if tag == "option" and self.select:
            if "selected" in facts or self.select not in self.form.values:
                self.form.values[self.select] = facts.get("value") or ""
        elif not name:
            return
        elif tag == "select":
            self.select = name
        elif tag == "textarea":
            self.area = name
            self.form.values[name] = ""
            self.form.texts[name] = int(facts.get("maxlength") or 2000)
        elif tag == "input" and kind in ("radio", "checkbox"):
            if "checked" in facts:
                known = self.form.values.setdefault(name, [])
                if isinstance(known, list):
                    known.append(facts.get("value") or "on")
        elif tag == "input" and kind not in ("file", "submit"):
            self.form.values[name] = facts.get("value") or ""
            if kind in ("text", "search"):
                self.form.texts[name] = int(facts.get("maxlength") or 200)

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.form = None
        elif tag == "select":
            self.select = None
        elif tag == "textarea":
            self.area = None

    def handle_data(self, data: str) -> None:
        if self.area and self.form:
            self.form.values[self.area] += data.removeprefix("\n")


def kind_of(path: str) -> str:
    """The view that answers an address, and what it is asked; empty for none of ours."""
    split = urlsplit(path)
    try:
        answered = resolve(split.path)
    except Resolver404:
        return ""
    return f"{answered.view_name}?{','.join(sorted(name for name, _ in parse_qsl(split.query)))}"


def crawl(client: Client, *, most_of_a_kind: int = 2) -> dict[str, Answer]:
    """Every kind of page that links lead to from the first: path -> answer."""
    kinds: Counter[str] = Counter()
    waiting, seen, found = ["/"], {"/"}, {}
    while waiting:
        path = waiting.pop(0)
        answer = found[path] = client.ask(path)
        is_page = answer.headers.get("Content-Type", "").startswith("text/html")
        links = answer.page.links if is_page and answer.status == 200 else []
        for link in [*links, answer.headers.get("Location") or ""]:
            wanted = urlsplit(urljoin(path, link))._replace(fragment="")
            kind = kind_of(wanted.geturl())
            if wanted.netloc or wanted.geturl() in seen or not kind:
                continue
            if kinds[kind] < most_of_a_kind:
                kinds[kind] += 1
                seen.add(wanted.geturl())
                waiting.append(wanted.geturl())
    return found
