"""What must hold of a statement whatever words files and users bring."""

from __future__ import annotations

import unicodedata
from dataclasses import replace

import analysis_fixture
from hypothesis import given
from hypothesis import strategies as st
from lxml import html as lxml_html

from telemetry.analysis import Request
from telemetry.core.errors import LogError
from telemetry.core.sanitize import sanitize, shortened
from telemetry.setup import SetupSheet
from telemetry.statement import build_statement
from telemetry.twoway.rules import load_rule

WORDS = st.text(max_size=400) | st.sampled_from(
    ["</style><script>alert(1)</script>", "{{ 7 * 7 }}", "{% raw %}", "&#60;b&#62;", "]]>", "--><img src=x>"]
)
NAMES = WORDS.filter(str.strip)


@given(WORDS)
def test_legible_words_stay_on_a_line_and_steer_nothing(text: str) -> None:
    told = sanitize(text)
    assert told == sanitize(told)
    assert "\n" not in told
    assert all(unicodedata.category(c) not in ("Cc", "Cf", "Zl", "Zp") for c in told)


@given(WORDS, st.integers(4, 200))
def test_shortened_words_fit_and_short_ones_stay(text: str, longest: int) -> None:
    told = shortened(text, longest)
    assert len(told) <= longest
    assert told == sanitize(text) or "…" in told


@given(NAMES, NAMES, WORDS)
def test_no_words_become_markup_or_template(name: str, title: str, note: str) -> None:
    whole = analysis_fixture.analysis()
    rule = replace(load_rule("water"), name=name, title=title, source=note, notes=note)
    whole = replace(whole, request=Request(rule=rule), errors=(LogError(note, file=name),))
    plain = build_statement(
        analysis_fixture.analysis(), sheet=SetupSheet("b", name="s"), conditions={"c": "d"}
    )
    made = build_statement(whole, sheet=SetupSheet(name, name=title, note=note), conditions={name: note})

    def shape(source: str) -> set[tuple[str, ...]]:
        """Every kind of element with the attributes it has."""
        page = lxml_html.document_fromstring(source)
        return {
            (element.tag, *sorted(element.attrib)) for element in page.iter() if isinstance(element.tag, str)
        }

    # What an error and another rule add is rows of kinds that are there already.
    assert shape(made.to_html()) == shape(plain.to_html())
    if "{{ 7 * 7 }}" in (name, title):
        assert "{{ 7 * 7 }}" in made.to_html()
