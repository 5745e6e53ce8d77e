"""Callbacks of the logs on the page "After the water": drop, name columns, read again, remove."""

from __future__ import annotations

from typing import Any

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, no_update, set_props
from dash.exceptions import PreventUpdate

from dashboard.features.run.layout import KEEPING, PAGE, PLOTS, plot
from dashboard.features.run.request_form import answered
from dashboard.session import job_callbacks
from dashboard.session.file_list import (
    FINDINGS_BOX,
    FINDINGS_COUNT,
    FINDINGS_ROWS,
    file_list,
    findings_count,
    findings_rows,
)
from dashboard.session.findings import finding_lines
from dashboard.session.intake import put_in, read_anew, take_in
from dashboard.session.samples import sample_uploads
from dashboard.session.sessions import Sessions
from dashboard.session.uploads import file_view

REVISION = Output("revision", "data", allow_duplicate=True)


def register(app: Dash, sessions: Sessions) -> None:
    """Attach the callbacks of the logs to an app."""
    app.clientside_callback(
        ClientsideFunction("afterTheWater", "sortOut"),
        Output("dropped", "data"),
        Output("turned-away", "children"),
        Output("drop", "contents"),
        Input("drop", "contents"),
        State("drop", "filename"),
        State("limits", "data"),
        prevent_initial_call=True,
    )
    job_callbacks.register(app, sessions, PAGE, "revision", KEEPING)

    @app.callback(REVISION, Input("dropped", "data"), State("session", "data"), prevent_initial_call=True)
    def receive(dropped: list[dict[str, str]] | None, token: str) -> int:
        if not dropped:
            raise PreventUpdate
        session = sessions.open(token)
        say(take_in(session, dropped))
        job_callbacks.follow(PAGE)
        return session.revision

    @app.callback(
        REVISION,
        Input("samples", "n_clicks"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def show_samples(_clicks: int, token: str) -> int:
        session = sessions.open(token)
        put_in(session, sample_uploads())
        job_callbacks.follow(PAGE)
        return session.revision

    @app.callback(
        REVISION,
        Input({"type": "remove", "key": ALL}, "n_clicks"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def remove(_clicks: list[int | None], token: str) -> int:
        if not ctx.triggered[0]["value"]:
            raise PreventUpdate  # the button was created, not pressed
        session = sessions.open(token)
        session.remove(ctx.triggered_id["key"])
        session.settle()
        job_callbacks.follow(PAGE)
        return session.revision

    @app.callback(
        REVISION,
        Input({"type": "read-again", "key": ALL}, "n_clicks"),
        State({"type": "heading", "key": ALL, "heading": ALL}, "value"),
        State({"type": "heading", "key": ALL, "heading": ALL}, "label"),
        State({"type": "heading", "key": ALL, "heading": ALL}, "id"),
        State({"type": "poles", "key": ALL}, "value"),
        State({"type": "gear", "key": ALL}, "value"),
        State({"type": "gear", "key": ALL}, "id"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def read_with_headings(
        _clicks: list[int | None],
        values: list[str | None],
        labels: list[str],
        ids: list[dict[str, Any]],
        poles: list[float | str | None],
        gears: list[float | str | None],
        motor_ids: list[dict[str, str]],
        token: str,
    ) -> int:
        if not ctx.triggered[0]["value"]:
            raise PreventUpdate
        session, key = sessions.open(token), ctx.triggered_id["key"]
        asked = [(h, v) for owner, h, v in zip(ids, labels, values, strict=True) if owner["key"] == key]
        headings = {heading: value for heading, value in asked if value} if asked else None
        motors = zip(motor_ids, poles, gears, strict=True)
        pairs, gear = next(((p, g) for owner, p, g in motors if owner["key"] == key), (None, None))
        motor = int(pairs) if pairs else None, float(gear) if gear else None
        read_anew(session, key, headings, *motor)
        job_callbacks.follow(PAGE)
        return session.revision

    @app.callback(
        [Output(f"{name}-box", "children") for name in PLOTS],
        Input("after-the-water", "className"),
        State(f"{PLOTS[0]}-box", "children"),
        prevent_initial_call=True,
    )
    def bring_plots(shown: str, there: Any) -> list[dcc.Graph]:
        if there or "empty" in shown:
            raise PreventUpdate
        return [plot(name) for name in PLOTS]

    @app.callback(
        Output("files", "children"),
        Output("after-the-water", "className"),
        Output("listed", "data"),
        Output("files-found", "data"),
        Input("revision", "data"),
        Input("session", "data"),
        State("asked", "data"),
        State("listed", "data"),
    )
    def list_files(
        _revision: int, token: str, asked: dict[str, Any] | None, listed: list[str] | None
    ) -> tuple[Any, str, Any, Any]:
        session = sessions.peek(token)
        say(session.lost)
        shown = "page" if session.has_answer else "page empty"
        uploads = list(session.uploads.values())
        drawn = [f"{upload.key} {id(upload)}" for upload in uploads]
        if drawn == listed:  # open forms and folds stay as they are
            return no_update, shown, no_update, no_update
        analysis = None if session.stale else answered(session, asked)
        views = tuple(file_view(upload, analysis) for upload in uploads)
        return file_list(views), shown, drawn, {view.key: finding_lines(view.findings) for view in views}

    @app.callback(
        Output({"type": FINDINGS_BOX, "key": ALL}, "hidden"),
        Output({"type": FINDINGS_COUNT, "key": ALL}, "children"),
        Output({"type": FINDINGS_ROWS, "key": ALL}, "children"),
        Output("files-found", "data", allow_duplicate=True),
        Input("asked", "data"),
        Input("listed", "data"),
        State({"type": FINDINGS_BOX, "key": ALL}, "id"),
        State("files-found", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def tell_findings(
        asked: dict[str, Any] | None,
        _listed: Any,
        ids: list[dict[str, str]],
        found: dict[str, Any],
        token: str,
    ) -> tuple[list[Any], list[Any], list[Any], Any]:
        session = sessions.peek(token)
        analysis = None if session.stale else answered(session, asked)
        views = [file_view(upload, analysis) for upload in session.uploads.values()]
        now = {view.key: finding_lines(view.findings) for view in views}
        same = [now.get(one["key"]) == (found or {}).get(one["key"]) for one in ids]
        lines = [now.get(one["key"], []) for one in ids]
        return (
            [no_update if k else not told for k, told in zip(same, lines, strict=True)],
            [no_update if k else findings_count(told) for k, told in zip(same, lines, strict=True)],
            [no_update if k else findings_rows(told) for k, told in zip(same, lines, strict=True)],
            no_update if all(same) else now,
        )


def say(unusable: str) -> None:
    """Show a notice above the page; an empty one leaves the present notice."""
    if unusable:
        set_props("notice", {"children": unusable})
