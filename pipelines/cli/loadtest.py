"""The command `loadtest` of the command line: parse, call, print."""

import argparse
import json
from pathlib import Path

from pipelines.caution import CAUTION
from pipelines.cli.words import DECK, STATUS, Commands, add_own, found_deck, terminal

FILES = ("loadtest.html", "loadtest.csv", "loadtest.json", "fitted.toml")


def add_loadtest(commands: Commands) -> None:
    """Add the command `loadtest`."""
    parser = commands.add_parser(
        "loadtest",
        help="readings under a known vehicle beside the model, and stiffnesses found from them",
        description="Compare the readings of a [[loadtest]] of the deck file with the model, and "
        "find the stiffnesses that its fit names, with 95 % intervals. Writes loadtest.html, "
        "loadtest.csv and loadtest.json, and the stiffnesses found as fitted.toml, which `run` "
        "takes by --fitted.",
        epilog=STATUS,
    )
    parser.add_argument("deck", metavar="DECK", help=DECK)
    add_own(parser)
    parser.add_argument(
        "--out", metavar="DIR", type=Path, required=True, help="folder for the results, made if new"
    )
    parser.add_argument("--test", metavar="NAME", help="which load test, where there are several")
    parser.set_defaults(do=_loadtest)


def _loadtest(arguments: argparse.Namespace) -> int:
    from pipelines.deck.reading.deck_file import read_deck

    deck = read_deck(found_deck(arguments.deck), own=arguments.own)
    from pipelines.loadtest.fitted_file import fitted_text
    from pipelines.loadtest.outcome import chosen_test, judge
    from pipelines.loadtest.words import cautions, fit_words, interval_words, lead
    from pipelines.numbers import number
    from pipelines.report.data.load_test import load_test_entry, write_load_tests
    from pipelines.report.data.summary import finite
    from pipelines.report.html import html_of
    from pipelines.report.sections.load_test import load_test_page
    from pipelines.system.files import write_text
    from pipelines.system.outputs import check_folder, replacing

    test = chosen_test(deck, arguments.test)
    check_folder(arguments.out, "loadtest", FILES)
    outcome = judge(deck, test)
    fitted = fitted_text(outcome) if outcome.fit is not None else ""
    with replacing(arguments.out, "loadtest") as folder:
        write_text(folder / "loadtest.html", html_of(load_test_page(outcome, fitted)))
        write_load_tests(folder / "loadtest.csv", [outcome])
        entry = finite(load_test_entry(outcome))
        write_text(folder / "loadtest.json", json.dumps(entry, indent=1, allow_nan=False) + "\n")
        if fitted:
            write_text(folder / "fitted.toml", fitted)
    console = terminal()
    console.print(f"Load test {test.name}: {len(test.readings)} readings")
    console.print(lead(outcome))
    for one in outcome.found:
        console.print(f"  {one.unknown.name} × {number(one.factor)} ({interval_words(one)})")
    for words in (*fit_words(outcome), *cautions(outcome)):
        console.print(words)
    for name in FILES:
        if name != "fitted.toml" or fitted:
            console.print(str(arguments.out / name))
    console.print(CAUTION)
    return 0
