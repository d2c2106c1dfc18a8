"""The command `vehicles` of the command line: parse, call, print."""

import argparse
from pathlib import Path

from pipelines.caution import CAUTION
from pipelines.cli.words import Commands
from pipelines.errors import JobError


def add_vehicles(commands: Commands) -> None:
    """Add the command `vehicles`."""
    parser = commands.add_parser(
        "vehicles",
        help="list the standards' vehicles and load models, drawn to scale",
        description="List all vehicles and load models with their sources, or write a page of them "
        "with every vehicle drawn to scale. Lanes, presence and impact of load models are shown "
        "for a carriageway and a span.",
        epilog=CAUTION,
    )
    parser.add_argument("--out", metavar="FILE.html", type=Path, help="page to write")
    parser.add_argument(
        "--width", metavar="M", type=float, default=7.0, help="of the carriageway [m], default 7"
    )
    parser.add_argument(
        "--span", metavar="M", type=float, default=3.0, help="of the slab [m], default 3"
    )
    parser.set_defaults(do=_vehicles)


def _vehicles(arguments: argparse.Namespace) -> int:
    if not (2.5 <= arguments.width <= 100.0 and 0.1 <= arguments.span <= 200.0):
        raise JobError("--width is 2.5 to 100 m, --span 0.1 to 200 m")
    from pipelines.report.html import html_of
    from pipelines.report.sections.vehicle_list import listing, page
    from pipelines.standards.actions.load_models import Conditions
    from pipelines.system.files import write_text
    from pipelines.system.outputs import SMALL, check_file

    if arguments.out is not None:
        check_file(arguments.out, SMALL)
    conditions = Conditions(width=arguments.width, span=arguments.span)
    if arguments.out is None:
        print("\n".join(listing(conditions)))
        return 0
    arguments.out.parent.mkdir(parents=True, exist_ok=True)
    write_text(arguments.out, html_of(page(conditions)))
    print(arguments.out)
    print(CAUTION)
    return 0
