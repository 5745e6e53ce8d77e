"""The dashboard: the shell around the pages, and the server that carries it."""

from __future__ import annotations

import logging
import sys
import webbrowser
from dataclasses import dataclass, field
from typing import Any, Final

import dash
import dash_mantine_components as dmc
from dash import ALL, ClientsideFunction, Dash, Input, Output, State, dcc, html, set_props

from dashboard.auth import AuthMiddleware, Passphrase, greeting, reader_of_request, settled_passphrase
from dashboard.auth.middleware import COOKIE
from dashboard.features.bench import callbacks as bench_callbacks
from dashboard.features.bench import layout as bench
from dashboard.features.bench.logbook import BenchClient
from dashboard.features.compare import callbacks as before_and_after_callbacks
from dashboard.features.compare import layout as before_and_after
from dashboard.features.compare.service import CompareClient
from dashboard.features.corrections import callbacks as after_the_water_hand
from dashboard.features.guide import layout as guide
from dashboard.features.history import callbacks as history_callbacks
from dashboard.features.history import layout as history
from dashboard.features.history.service import HistoryClient
from dashboard.features.logbook import callbacks as logbook_callbacks
from dashboard.features.logbook import file_callbacks
from dashboard.features.logbook import layout as logbook
from dashboard.features.logbook.backup_service import BackupClient
from dashboard.features.logbook.service import LogbookClient
from dashboard.features.overlay import callbacks as overlay_callbacks
from dashboard.features.overlay import layout as overlay
from dashboard.features.overlay.service import OverlayClient
from dashboard.features.run import callbacks as after_the_water_callbacks
from dashboard.features.run import layout as after_the_water
from dashboard.features.run import save_callbacks
from dashboard.features.statement import page as statement
from dashboard.features.statement.service import Statements
from dashboard.security import error_shown, protect, refuse_malformed
from dashboard.session.intake import put_in
from dashboard.session.samples import sample_uploads
from dashboard.session.sessions import Sessions, new_token
from dashboard.ui import theme as surroundings
from dashboard.ui.navigation import LINK, navigation
from dashboard.ui.palette import FONT
from dashboard.ui.theme import PROVIDER, surroundings_button, surroundings_kept
from dashboard.ui.units_bar import other_choices, speed_choice
from dashboard.wsgi_server import make_wsgi_server
from telemetry.core.errors import ReciprocalError

_log = logging.getLogger(__name__)
DOOR: Final = "reciprocal-door"

# In the order of a day: each has PATH, NAME and layout, and stands in the navigation.
_PAGES: Final = (after_the_water, overlay, bench, before_and_after, history, logbook, guide)

_INDEX: Final = """<!DOCTYPE html>
<html lang="en">
    <head>
        {%metas%}
        <meta name="color-scheme" content="light dark">
        <title>{%title%}</title>
        <link rel="icon" href="/assets/mark.svg" type="image/svg+xml">
        {%css%}
    </head>
    <body>
        {%app_entry%}
        <footer>{%config%}{%scripts%}{%renderer%}</footer>
    </body>
</html>"""

# Ten steps of one cool grey, so that Mantine's own parts speak the page's language: ink on paper.
_INK: Final = [
    "#f4f6f8", "#e6eaed", "#d0d7dc", "#b4bec7", "#8f9ba5",
    "#6d7883", "#4a545e", "#323b43", "#1f262c", "#10151a",
]  # fmt: skip


@dataclass(frozen=True)
class Config:
    """How a dashboard is set up.

    Attributes
    ----------
    sessions : Sessions
        Where the browser tabs' logs are kept.
    samples : bool
        Whether a page opens with the sample logs loaded.
    passphrase : Passphrase or None
        What readers on the local network have to say; None serves this machine alone, unasked.
    logbook : str or None
        The logbook's file or URL; None is the user's own.
    """

    sessions: Sessions = field(default_factory=Sessions)
    samples: bool = False
    passphrase: Passphrase | None = None
    logbook: str | None = None


def create_app(config: Config | None = None) -> Dash:
    """Build the Dash app.

    Pages are registered one by one: Dash's own search would import a page twice when a test imports it too.
    """
    config = config or Config()
    door = AuthMiddleware(config.passphrase) if config.passphrase else None
    app = Dash(
        "dashboard",
        compress=True,
        use_pages=True,
        pages_folder="",
        include_pages_meta=False,
        index_string=_INDEX,
        title="Reciprocal",
        update_title=None,
        on_error=_report,
    )
    for page in _PAGES:
        dash.register_page(
            page.__name__,
            path=page.PATH,
            name=page.NAME,
            title=f"{page.NAME} – Reciprocal",
            layout=page.layout,
        )
    app.layout = lambda: _shell(config, door)
    # The pages' parts are not in the first layout, so Dash cannot check callbacks against it.
    app.config.suppress_callback_exceptions = True
    surroundings.register(app)
    links = {"type": LINK, "path": ALL}
    app.clientside_callback(
        ClientsideFunction("navigation", "mark"),
        Output(links, "aria-current"),
        Input("_pages_location", "pathname"),
        State(links, "id"),
    )
    statements = Statements(config.logbook)
    after_the_water_callbacks.register(app, config.sessions, statements)
    after_the_water_hand.register(app, config.sessions, LogbookClient(config.logbook))
    bench_callbacks.register(app, BenchClient(config.logbook))
    before_and_after_callbacks.register(app, CompareClient(config.logbook))
    history_callbacks.register(app, HistoryClient(config.logbook))
    save_callbacks.register(app, config.sessions, LogbookClient(config.logbook))
    logbook_callbacks.register(app, config.sessions, LogbookClient(config.logbook))
    overlay_callbacks.register(app, config.sessions, OverlayClient(config.logbook))
    file_callbacks.register(app, app.server, BackupClient(config.logbook))
    statement.register(app.server, statements)
    protect(app.server, app.csp_hashes, loopback=door is None)
    if door is not None:
        door.hang(app.server)
        app.server.extensions[DOOR] = door
    refuse_malformed(app.server, app.callback_map)
    return app


def serve(
    host: str = "127.0.0.1",
    port: int = 8050,
    *,
    samples: bool = False,
    logbook: str | None = None,
    lan: bool = False,
    new_passphrase: bool = False,
    open_browser: bool = False,
) -> None:
    """Serve the dashboard until interrupted.

    Parameters
    ----------
    host, port : str and int
        Where to listen; this machine alone by default. Port 0 takes any free one.
    samples : bool
        Whether pages open with the sample logs loaded.
    logbook : str, optional
        The logbook's file or URL; without it the user's own.
    lan : bool
        Whether readers on the local network are let in, by a passphrase that is asked for once.
    new_passphrase : bool
        Whether another passphrase takes the place of the one that is kept.
    open_browser : bool
        Whether to show the page in the user's browser.

    Raises
    ------
    OSError
        If the port is taken.
    CallError, SavedColumnsError
        If there is no passphrase to be had for the local network.
    """
    passphrase = settled_passphrase(new=new_passphrase) if lan else None
    # A tab's logs belong to the reader who opened it, whatever name of a tab another one sends.
    sessions = Sessions(reader=reader_of_request) if lan else Sessions()
    app = create_app(Config(sessions, samples, passphrase, logbook))
    server = make_server(app, host, port)
    address = f"http://{host}:{server.effective_port}"
    if lan:
        print(greeting(host, server.effective_port, picture=sys.stdout.isatty()), flush=True)
    else:
        print(f"Reciprocal is at {address} - stop it with Ctrl+C", flush=True)
    if open_browser:
        webbrowser.open(address)
    try:
        server.run()
    except KeyboardInterrupt:
        pass
    finally:
        sessions.close()
        server.close()


def make_server(app: Dash, host: str, port: int) -> Any:
    """Return the WSGI server for an app, bound but not yet running."""
    # Dash sets itself up during its first request. Of several at once the others would meet it half done.
    app.server.test_client().get("/", base_url="http://127.0.0.1")
    door = app.server.extensions.get(DOOR)
    return make_wsgi_server(app.server, host, port, door.knows if door is not None else None, COOKIE)


def _report(error: Exception) -> None:
    """Keep the traceback in the server's log and tell the user one sentence."""
    _log.error("a callback failed", exc_info=error)
    said = "Something went wrong here; your logs are untouched. The server's own window says more."
    set_props("notice", {"children": error_shown(error) if isinstance(error, ReciprocalError) else said})


def _shell(config: Config, door: AuthMiddleware | None) -> dmc.MantineProvider:
    token = new_token()
    if config.samples:
        put_in(config.sessions.open(token), sample_uploads())
    return dmc.MantineProvider(
        [
            # The tab keeps its first token in its own storage; a reload finds its logs again.
            dcc.Store(id="session", storage_type="session", data=token),
            *surroundings_kept(),
            _header(door),
            html.Div(id="notice", role="alert", className="notice"),
            dash.page_container,
        ],
        id=PROVIDER,
        forceColorScheme="light",
        theme={
            "fontFamily": FONT,
            "headings": {"fontFamily": FONT},
            "colors": {"ink": _INK},
            "primaryColor": "ink",
            "primaryShade": {"light": 9, "dark": 1},
            "autoContrast": True,
            "defaultRadius": 4,
            "focusRing": "auto",
        },
    )


def _header(door: AuthMiddleware | None) -> html.Header:
    name = html.A(
        [html.Span(className="brand-mark", **{"aria-hidden": "true"}), "Reciprocal"],
        href=after_the_water.PATH,
        className="brand",
    )
    return html.Header(
        [
            name,
            navigation([(page.NAME, page.PATH) for page in _PAGES]),
            html.Div(
                [speed_choice(), other_choices(), surroundings_button(), _log_out(door)],
                className="header-tools",
            ),
        ],
        className="top",
    )


def _log_out(door: AuthMiddleware | None) -> html.Form | None:
    if door is None:
        return None
    return html.Form(
        [dcc.Input(type="hidden", name="token", value=door.token()), html.Button("Log out", type="submit")],
        action="/logout",
        method="POST",
        className="log-out",
    )
