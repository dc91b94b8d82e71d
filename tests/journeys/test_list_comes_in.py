"""A list with a mistake: uploaded, mended, imported, and imported again, on a phone."""

from __future__ import annotations

import pytest
from django.urls import reverse
from selenium.webdriver.support.select import Select

from inventory.people.links import sign_in_path
from inventory.stock.models import Vehicle
from tests.factories import make_person
from tests.journeys.conftest import Reader

# The usual instruments come with the migrations, and a transactional test would empty them away.
pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
]

LIST = """My trains;;;
Stand: 2026;;;
Bahnverwaltung;Nummer;Gattung;Kaufpreis;Kaufdatum
DB;101;offener Wagen;24,50;05.03.2024
DB;102;Kesselwagen;12,5o;06.03.2024
SNCF;7;Güterwagen;€ 9;07.03.2024
"""


class Person(Reader):
    def press(self, words: str) -> None:
        """Press the button or link with these words."""
        for tag in ("button", "a"):
            found = self.browser.find_elements("xpath", f"//main//{tag}[contains(., '{words}')]")
            if found:
                found[0].click()
                return
        raise AssertionError(f"Nothing says “{words}”:\n{self.words}")

    def upload(self, file) -> None:
        self.browser.get(self.base + reverse("ledger:import"))
        self.browser.find_element("name", "file").send_keys(str(file))
        self.press("Upload")

    def choose(self, name: str, value: str) -> None:
        Select(self.browser.find_element("name", name)).select_by_value(value)

    def finds_that_it_can_be_pressed_once(self, words: str) -> None:
        """While the answer is on its way, here held back, the button rests and it says why."""
        sent = self.browser.execute_async_script(
            """const [words, done] = arguments;
            window.sent = 0;
            window.held = (event) => {
              if (!event.defaultPrevented) window.sent += 1;
              event.preventDefault();
            };
            addEventListener("submit", window.held);
            const button = [...document.querySelectorAll("main button")].find(
              (each) => each.textContent.includes(words));
            button.form.requestSubmit(button);
            button.form.requestSubmit(button);
            setTimeout(() => done([window.sent, button.disabled]), 50);""",
            words,
        )
        assert sent == [1, True]
        assert "Importing… Leave this page open." in self.words
        self.browser.execute_script(
            "removeEventListener('submit', window.held); dispatchEvent(new Event('pageshow'))"
        )
        assert "All of it or nothing." in self.words

    def is_as_wide_as_the_page(self) -> bool:
        """Nothing sticks out sideways."""
        return self.browser.execute_script("return document.documentElement.scrollWidth") <= 390


def test_list_when_a_cell_is_wrong_then_is_mended_imported_and_imported_again(
    phone, live_server, tmp_path, settings
):
    settings.DATA = tmp_path / "data"
    owner = make_person()
    person = Person(phone, live_server.url)
    phone.get(live_server.url + sign_in_path(owner))
    phone.find_element("css selector", "main button").click()
    person.wait(lambda: "arrive" not in phone.current_url, "signed in")
    file = tmp_path / "trains.csv"
    file.write_bytes(LIST.encode("cp1252"))

    person.upload(file)
    person.wait(lambda: "What the columns of trains.csv mean" in person.words, "the columns")
    assert "3 rows" in person.words
    meant = [
        Select(phone.find_element("name", f"column-{n}")).first_selected_option.text
        for n in range(5)
    ]
    assert meant == ["Railway or marks", "Running number", "Kind", "Price", "Acquired"]
    assert person.is_as_wide_as_the_page()
    person.choose("standard", "nem/H0")
    person.choose("category", "freight")
    phone.find_element("name", "currency").send_keys("EUR")
    person.press("See what would happen")

    person.wait(lambda: "What trains.csv would do" in person.words, "the preview")
    assert "row 5" in person.words
    assert "column D (Kaufpreis): “12,5o” is no amount; type one such as 24.50." in person.words
    assert person.is_as_wide_as_the_page()
    assert Vehicle.objects.count() == 0

    file.write_bytes(LIST.replace("12,5o", "12,50").encode("cp1252"))
    person.press("upload it again")
    person.upload(file)
    person.wait(lambda: "Import: 3 new" in person.words, "the mended list")
    if phone.has_script:
        person.finds_that_it_can_be_pressed_once("Import: 3 new")
    person.press("Import: 3 new")
    person.wait(lambda: "trains.csv: 3 new." in person.words, "it is imported")
    assert sorted(Vehicle.objects.values_list("number", "kind", "price", "family")) == [
        ("101", "offener Wagen", 24.50, "nem"),
        ("102", "Kesselwagen", 12.50, "nem"),
        ("7", "Güterwagen", 9, "nem"),
    ]

    file.write_bytes(
        LIST.replace("12,5o", "12,50").replace("Kesselwagen", "Silowagen").encode("cp1252")
    )
    person.upload(file)
    person.wait(lambda: "Import: 1 changed" in person.words, "the differences")
    assert "Kesselwagen → Silowagen" in person.words
    phone.find_element("css selector", ".narrowing a[href*='show=changed']").click()
    person.wait(lambda: "row 4" not in person.words, "it is narrowed")
    person.press("Import: 1 changed")
    person.wait(lambda: "1 changed, 2 as they were." in person.words, "it is changed")
    assert Vehicle.objects.get(number="102").kind == "Silowagen"
