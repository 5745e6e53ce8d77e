"""What each command does; each takes the parsed arguments and returns the exit status."""

from __future__ import annotations

import importlib
import ipaddress
import json
import shlex
import sys
from argparse import Namespace
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, replace
from pathlib import Path

from tqdm import tqdm

from telemetry.analysis import Analysis, Request, read_and_analyse, rejudge
from telemetry.cleaning.corrections import ByHand
from telemetry.cli import archive, arguments
from telemetry.cli import corrections as byhand
from telemetry.cli.outcome import DONE, SOME_INPUT_UNUSED, complain
from telemetry.core.errors import CallError, LogError
from telemetry.motor.power import Limits
from telemetry.motor.what_if_start import start_pass, what_if_from
from telemetry.readers import (
    READERS,
    ReadOptions,
    bytes_of,
    column_maps,
    form_name,
    heading_form,
    open_file,
)
from telemetry.text.brief import brief_text
from telemetry.text.guide import contents_text, topic_text
from telemetry.text.ride_power import what_if_text
from telemetry.text.run import analysis_text, maps_text, rules_text
from telemetry.twoway.rules import SHIPPED, load_rule, shipped, shipped_text

ProgressReport = Callable[[str, float], None]


def analyse_command(args: Namespace) -> int:
    """Read logs, analyse them together, print tables or the JSON contract; or analyse an archive."""
    archive.check(args)
    load_rule(args.rule)  # fail on a wrong rule before a long read
    if args.archive is not None:
        return archive.analyse_all(args)
    power = arguments.power_options(args, arguments.limits(args))
    request = replace(arguments.judging(args), power=power)
    analysis, unused = read_named_logs(args, request)
    if args.json:
        print(json.dumps(analysis.to_dict(), indent=2, allow_nan=False))
    else:
        print(_report(analysis, args))
    complain(unused)
    return SOME_INPUT_UNUSED if unused else DONE


def _report(analysis: Analysis, args: Namespace) -> str:
    """Format an analysis as brief as asked."""
    if args.brief:
        return brief_text(analysis, args.unit, temperature_unit=args.temperature_unit)
    return analysis_text(
        analysis, args.unit, every_check=args.details, temperature_unit=args.temperature_unit
    )


def what_if_command(args: Namespace) -> int:
    """Read logs, take one pass as measured, print the estimated effect of a change."""
    change = arguments.change(args)
    request = Request(power=arguments.power_options(args, Limits()))
    analysis, unused = read_named_logs(args, request)
    complain(unused)
    start = start_pass(analysis.passes, analysis.motors, args.pass_id)
    answer = what_if_from(start, analysis.motors, request.power, change)
    if args.json:
        document = {"schema": "reciprocal-what-if/1", "pass_id": start.id, "change": asdict(change)}
        print(json.dumps(document | answer.to_dict(), indent=2, allow_nan=False))
    else:
        print(what_if_text(start.id, answer, args.unit))
    return SOME_INPUT_UNUSED if unused else DONE


def read_named_logs(args: Namespace, request: Request) -> tuple[Analysis, list[LogError]]:
    """Read and analyse the named logs; return also the errors of the logs that cannot be used.

    Column meanings given on the command line are saved, and saved ones complete them.
    """
    kept, damaged = column_maps.load()
    complain(damaged)
    options = ReadOptions(arguments.headings(args.headings), args.pole_pairs, args.gear, kept)
    files, unused = arguments.log_files(args.logs)
    with progress_bar() as progress:
        analysis = read_and_analyse(files, request, options, progress)
    if options != ReadOptions(kept=kept):
        complain(column_maps.keep_of_files(files, options))
    corrections = byhand.corrections_of(args, analysis)
    if corrections:
        analysis = rejudge(analysis, replace(request, by_hand=ByHand().with_(*corrections)))
    return analysis, [*unused, *analysis.errors]


def headings_command(args: Namespace) -> int:
    """Write a heading map for a table, ready to edit.

    Raises
    ------
    CallError
        If the file exists already or cannot be written.
    """
    kept, damaged = column_maps.load()
    complain(damaged)
    (log, *others), file = open_file(args.log).files or ((None,)), str(args.log)
    if log is None or others:
        bytes_of(args.log)  # names what is wrong with the path
        raise CallError("it is an archive, not a table", file=file, hint="unpack the table first")
    text = heading_form(log.data, log.file, ReadOptions(kept=kept))
    if args.output == Path("-"):
        print(text, end="")
        return DONE
    output = args.output or Path(form_name(file))
    try:
        with output.open("x", encoding="utf-8") as stream:
            stream.write(text)
    except FileExistsError:
        raise CallError("it exists already", file=str(output), hint="name another with --output") from None
    except OSError as error:
        reason = f"it cannot be written: {error.strerror or error}"
        raise CallError(reason, file=str(output), hint="name another with --output") from None
    print(f"{output} written: edit it, then run")
    print(f"  reciprocal analyse {shlex.quote(file)} --headings {shlex.quote(str(output))}")
    return DONE


def guide(args: Namespace) -> int:
    """Print a topic of the guide, or list the topics."""
    print(topic_text(args.topic) if args.topic else contents_text())
    return DONE


def maps(args: Namespace) -> int:
    """List the saved heading maps, or forget some."""
    kept, damaged = column_maps.load()
    complain(damaged)
    if args.forget is None or (args.forget == "all" and not kept):
        print(maps_text(tuple(kept.values()), column_maps.folder()))
    for name in kept if args.forget == "all" else [args.forget] if args.forget is not None else []:
        print(f"forgotten: {column_maps.forget(name).text()}")
    return SOME_INPUT_UNUSED if damaged else DONE


def rules(args: Namespace) -> int:
    """List the shipped rules, or print one's TOML."""
    if args.show is None:
        print(rules_text(shipped()))
    elif args.show in SHIPPED:
        print(shipped_text(args.show), end="")
    else:
        raise CallError(f"there is no built-in rule '{args.show}'", hint=f"choose {', '.join(SHIPPED)}")
    return DONE


def formats(_args: Namespace) -> int:
    """List the readers."""
    for reader in READERS:
        print(f"{reader.name:<6} {' '.join(reader.suffixes)}")
    print("The format is recognised by a file's content, not by its suffix.")
    return DONE


def serve(args: Namespace) -> int:
    """Serve the dashboard until Ctrl-C."""
    if args.new_passphrase and not args.lan:
        raise CallError("--new-passphrase needs --lan", hint="add --lan")
    serve_dashboard(
        args, samples=False, logbook=args.logbook, lan=args.lan, new_passphrase=args.new_passphrase
    )
    return DONE


def serve_dashboard(
    args: Namespace,
    *,
    samples: bool,
    logbook: str | None,
    lan: bool = False,
    new_passphrase: bool = False,
) -> None:
    """Serve the dashboard on a logbook, with the sample logs loaded or not.

    Parameters
    ----------
    args : Namespace
        Host and port.
    samples : bool
        Whether the sample logs are loaded.
    logbook : str or None
        The logbook's file or URL; None is the user's own.
    lan, new_passphrase : bool
        Whether the network has access, and whether to choose a new passphrase.

    Raises
    ------
    CallError
        If it cannot start or listen, or would be open to a network without a passphrase.
    """
    host = args.host or ("0.0.0.0" if lan else "127.0.0.1")
    if not lan and not _is_loopback(host):
        raise CallError(
            f"{host} can be reached from other machines",
            hint="add --lan, which asks for a passphrase, or leave out --host",
        )
    # The library may not import the dashboard (see the layers in pyproject.toml), yet its command line starts
    # it. Looked up by name at the call, it costs the other commands no import time.
    try:
        app = importlib.import_module("dashboard.app")
    except ModuleNotFoundError as error:
        raise CallError(
            f"the dashboard cannot start: there is no module {error.name}",
            hint="install the project with its dependencies",
        ) from None
    try:
        app.serve(host, args.port, samples=samples, logbook=logbook, lan=lan, new_passphrase=new_passphrase)
    except OSError as error:
        raise CallError(
            f"cannot listen at {host}, port {args.port}: {error.strerror or error}",
            hint="stop what listens there, or choose another port with --port",
        ) from None


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


@contextmanager
def progress_bar() -> Iterator[ProgressReport | None]:
    """Show progress on stderr if it is a terminal, once the work has taken a second."""
    if not sys.stderr.isatty():
        yield None
        return
    with tqdm(total=1.0, bar_format="{percentage:3.0f}% |{bar:30}| {desc}", delay=1.0, leave=False) as bar:

        def show(what: str, fraction: float) -> None:
            bar.set_description_str(what, refresh=False)
            bar.update(fraction - bar.n)

        yield show
