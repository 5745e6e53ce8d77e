"""Arguments of the bench commands: sheet, bench, strut, balance, service."""

from __future__ import annotations

import argparse
from pathlib import Path

from telemetry.cli import bench, options
from telemetry.cli.catalogue import Commands
from telemetry.setup import BENCH_LENGTHS, BENCH_MASSES, SIGNS


def _add_sheet(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "sheet", nargs="?", metavar="SHEET", help="a TOML or JSON file, or with --boat a name or id"
    )
    parser.add_argument("--items", action="store_true", help="list the items a sheet can have")
    parser.add_argument("--against", metavar="SHEET", help="list the differences from that sheet")
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="ITEM=VALUE",
        help="in the next sheet: strut_depth_mm=3.5, cog_mm=270@0.5, or ITEM= to remove it; repeat",
    )
    parser.add_argument("--name", metavar="NAME", help="name of the new sheet")
    parser.add_argument("--note", metavar="TEXT", help="why the sheet is made")
    parser.add_argument("--write", type=Path, metavar="FILE", help="write the sheet as TOML")
    parser.add_argument("--keep", action="store_true", help="put the sheet into the logbook")
    parser.add_argument(
        "--json", action="store_true", help="print the sheet as JSON, in the units of its items"
    )
    parser.add_argument(
        "--toml", action="store_true", help="print the sheet as TOML, as a start for your own file"
    )
    _add_boat(parser)
    add_showing(parser)


def _add_bench(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "sheet", nargs="?", metavar="SHEET", help="as last set: a file, or with --boat a name or id"
    )
    parser.add_argument(
        "--found", metavar="FILE", help="the boat as found, in the form of a sheet without a name"
    )
    parser.add_argument(
        "--measured",
        action="append",
        default=[],
        metavar="ITEM=VALUE",
        help="one measure as found; after @ the gauge or its resolution: strut_depth_mm=6.1@caliper; repeat",
    )
    parser.add_argument("--back-to", metavar="SHEET", help="the sheet to return to, if it is another one")
    parser.add_argument("--crash", action="store_true", help="put the after-crash list on the card")
    parser.add_argument("--note", metavar="TEXT", help="what happened before it was measured")
    parser.add_argument("--write", type=Path, metavar="FILE", help="write the card as text")
    parser.add_argument("--keep", action="store_true", help="put the boat as found into the logbook")
    _add_boat(parser)
    add_showing(parser)


def _add_strut(parser: argparse.ArgumentParser) -> None:
    lengths = {
        "front": "height of the strut over the base, at its front",
        "rear": "height of the same edge, at its rear",
        "span": "distance between the two along the strut",
        "block": "height of the ride surfaces over the base, for the depth",
        "overhang": "from the rear point to the propeller, for the depth there",
    }
    for name, what in lengths.items():
        needed = name in ("front", "rear", "span")
        parser.add_argument(
            f"--{name}",
            required=needed,
            metavar="LENGTH",
            help=f"{what}; 20.5@0.1 adds the gauge's resolution",
        )
    add_showing(parser)


def _add_balance(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "sheet", nargs="?", metavar="FILE", help="[[parts]] or a sheet; with --boat a sheet's name"
    )
    parser.add_argument(
        "--move", action="append", default=[], metavar="PART=PLACE", help="move a part there; repeat"
    )
    parser.add_argument(
        "--swap",
        action="append",
        default=[],
        metavar="PART=MASS",
        help="another part in its place; PART=MASS@PLACE",
    )
    parser.add_argument(
        "--range", action="append", default=[], metavar="PART=LOW:HIGH", help="where a part may go; repeat"
    )
    parser.add_argument("--want", metavar="PLACE", help="find the move that puts the centre of gravity there")
    parser.add_argument(
        "--hull-length", metavar="LENGTH", help="to give the centre of gravity in percent of it"
    )
    _add_boat(parser)
    add_showing(parser)


def _add_service(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "file",
        nargs="?",
        metavar="FILE",
        help="TOML with [service.TASK], stored for --boat; without --boat also with [[outings]] and [done]",
    )
    parser.add_argument(
        "--done", action="append", default=[], metavar="TASK", help="record it as done now; repeat"
    )
    parser.add_argument("--note", metavar="TEXT", help="what was found or renewed")
    _add_boat(parser)


def _add_boat(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--boat", metavar="NAME", help="a boat of the logbook")
    options.add_logbook(parser)


def add_showing(parser: argparse.ArgumentParser) -> None:
    """Add the units and signs in which a sheet is shown."""
    parser.add_argument("--length", choices=BENCH_LENGTHS, default="mm", help="lengths in (default mm)")
    parser.add_argument("--mass", choices=BENCH_MASSES, default="kg", help="masses in (default kg)")
    parser.add_argument(
        "--turn",
        action="append",
        choices=tuple(SIGNS),
        default=[],
        help="a sign that you count the other way round; repeat",
    )


COMMANDS: Commands = {
    "sheet": (bench.sheet, _add_sheet),
    "bench": (bench.bench, _add_bench),
    "strut": (bench.strut, _add_strut),
    "balance": (bench.balance_of, _add_balance),
    "service": (bench.service, _add_service),
}
