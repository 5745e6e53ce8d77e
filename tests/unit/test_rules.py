"""Rule files: what ships, what a user may write, and what each mistake is told as."""

from __future__ import annotations

from pathlib import Path

import pytest

from telemetry.core.errors import RuleError
from telemetry.core.units import SIXTEENTH_MILE_M
from telemetry.twoway.rules import SHIPPED, Rule, load_rule, parse_rule, shipped, shipped_text

MINIMAL = 'name = "ours"\ntitle = "Our own"\nmean = "of speeds"\nsource = "the club\'s book"\n'


def error_of(text: str) -> RuleError:
    with pytest.raises(RuleError) as caught:
        parse_rule(text, "ours.toml")
    return caught.value


def test_the_shipped_rules_are_what_the_trade_uses() -> None:
    rules = {r.name: r for r in shipped()}
    assert set(rules) == set(SHIPPED) == {"water", "land", "sixteenth-mile"}
    assert (rules["water"].mean, rules["water"].window_s, rules["water"].distance_m) == (
        "of speeds",
        3600,
        None,
    )
    assert (rules["land"].mean, rules["land"].window_s, rules["land"].margin_percent) == (
        "of times",
        3600,
        1.0,
    )
    assert rules["sixteenth-mile"].distance_m == SIXTEENTH_MILE_M
    assert rules["sixteenth-mile"].window_s is None
    assert all(r.source and r.notes for r in rules.values())


def test_what_a_rule_leaves_out_has_its_default() -> None:
    rule = parse_rule(MINIMAL, "ours.toml")
    assert rule == Rule("ours", "Our own", "of speeds", "the club's book")
    assert (rule.window_s, rule.distance_m, rule.rounding) == (None, None, "nearest")


def test_a_users_file_works_and_so_does_a_copy_of_a_shipped_rule(tmp_path: Path) -> None:
    file = tmp_path / "ours.toml"
    file.write_text(shipped_text("sixteenth-mile").replace("sixteenth-mile", "ours") + "window_s = 1800\n")
    for given in (file, str(file)):
        rule = load_rule(given)
        assert (rule.name, rule.window_s) == ("ours", 1800)


def test_a_rule_already_read_is_taken_as_it_is() -> None:
    rule = parse_rule(MINIMAL, "ours.toml")
    assert load_rule(rule) is rule


@pytest.mark.parametrize(
    ("line", "key", "reason", "hint"),
    [
        ("windows_s = 3600", "windows_s", "no rule has such a key", "use only"),
        ('window_s = "3600"', "window_s", "'3600' is not a number", "write a number"),
        ("window_s = true", "window_s", "True is not a number", "write a number"),
        ("notes = 3", "notes", "3 is not a text in quotes", "write a text in quotes"),
        ("decimals = 2.5", "decimals", "2.5 is not a number", "write a"),
        ("window_s = 0", "window_s", "0 is out of range", "write a positive number"),
        ("distance_m = -100.0", "distance_m", "-100.0 is out of range", "write a positive number"),
        ("distance_m = inf", "distance_m", "inf is out of range", "write a positive number"),
        ("distance_m = nan", "distance_m", "nan is out of range", "write a positive number"),
        ('rounding = "up"', "rounding", "'up' is not one of 'nearest', 'down'", "choose one"),
        ('unit = "furlongs"', "unit", "'furlongs' is not one of 'mph'", "choose one"),
        ("decimals = 7", "decimals", "more than six decimals", "write 0 to 6"),
        (
            "heading_tolerance_deg = 0",
            "heading_tolerance_deg",
            "0 is out of range",
            "write a positive number",
        ),
    ],
)
def test_each_mistake_names_file_key_and_mend(line: str, key: str, reason: str, hint: str) -> None:
    error = error_of(MINIMAL + line)
    assert (error.file, error.place) == ("ours.toml", key)
    assert error.reason.startswith(reason)
    assert error.hint.startswith(hint)
    assert str(error) == f"ours.toml ({key}): {error.reason}. Fix: {error.hint}."


@pytest.mark.parametrize("key", ["name", "title", "mean", "source"])
def test_a_missing_key_is_named(key: str) -> None:
    kept = "\n".join(line for line in MINIMAL.splitlines() if not line.startswith(key))
    error = error_of(kept)
    assert (error.place, error.reason) == (key, "the rule lacks this key")


def test_an_empty_name_and_a_wrong_mean_are_refused() -> None:
    assert error_of(MINIMAL.replace('"ours"', '" "')).place == "name"
    assert "'of speeds', 'of times'" in error_of(MINIMAL.replace("of speeds", "of both")).reason


def test_toml_that_is_none_names_its_line() -> None:
    error = error_of(MINIMAL + "window_s = \n")
    assert error.file == "ours.toml"
    assert "line 5" in error.reason


def test_zero_is_allowed_where_it_means_none() -> None:
    rule = parse_rule(MINIMAL + "margin_percent = 0\ndistance_tolerance_m = 0\ndecimals = 0\n", "ours.toml")
    assert (rule.margin_percent, rule.distance_tolerance_m, rule.decimals) == (0, 0, 0)


def test_a_rule_or_file_that_is_not_there_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(RuleError, match=r"there is no rule 'watre'.*choose water, land, sixteenth-mile"):
        load_rule("watre")
    with pytest.raises(RuleError, match=r"none\.toml: cannot be read: No such file"):
        load_rule(tmp_path / "none.toml")
    (tmp_path / "odd.toml").write_bytes(b"name = '\xff'")
    with pytest.raises(RuleError, match="it is not UTF-8 text"):
        load_rule(tmp_path / "odd.toml")


def test_a_byte_order_mark_before_a_rule_is_no_part_of_it(tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    file.write_text(shipped_text("water"), encoding="utf-8-sig")
    assert load_rule(file) == load_rule("water")
