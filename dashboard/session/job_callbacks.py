"""Callbacks of the jobs on a page that logs are dropped on: poll, cancel, remove from the list."""

from __future__ import annotations

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, no_update, set_props
from dash.exceptions import PreventUpdate

from dashboard.session.job_list import CANCEL, CLEAR, SHARE, jobs_list, percent, shape_of
from dashboard.session.sessions import Sessions


def follow(page: str) -> None:
    """Make the page poll the progress until all jobs have ended."""
    set_props(f"{page}-poll", {"disabled": False})


def register(app: Dash, sessions: Sessions, page: str, revision: str, form: str) -> None:
    """Attach the callbacks of a page's jobs.

    Parameters
    ----------
    app : Dash
    sessions : Sessions
    page : str
        Prefix of the ids of its :func:`dashboard.session.job_list.jobs_area`.
    revision : str
        The id of the store whose change makes the page show the session again. Its value at the page's last
        request for an answer is in the area's own store, which ends in ``seen``.
    form : str
        Prefix of the ids of its :func:`dashboard.features.save.view.outing_form`.
    """
    shares = {"type": SHARE, "page": page, "key": ALL}

    @app.callback(
        Output(f"{page}-poll", "disabled"),
        Output(f"{page}-shape", "data"),
        Output(revision, "data", allow_duplicate=True),
        Output(shares, "value"),
        Input(f"{page}-poll", "n_intervals"),
        State(shares, "id"),
        State(f"{page}-shape", "data"),
        State(f"{page}-seen", "data"),
        State(revision, "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def look(
        _n: int, ids: list[dict[str, str]], shape: Any, seen: int, shown: int, token: str
    ) -> tuple[Any, ...]:
        session = sessions.peek(token)
        idle = not session.queue.under_way
        jobs, now = session.queue.views, session.revision
        by_key = {job.key: str(percent(job)) for job in jobs}
        drawn = shape_of(jobs, session.kept.outing.id if session.kept else None)
        return (
            idle,
            no_update if drawn == shape else drawn,
            # Of two callbacks triggered by one change, one may have come before the answer and one after it.
            no_update if now == seen == shown else now,
            [by_key.get(one["key"], no_update) for one in ids],
        )

    @app.callback(
        Output(f"{page}-jobs", "children"),
        Output(f"{form}-jobs", "children"),
        Output(f"{page}-cancel-all", "style"),
        Input(f"{page}-shape", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def list_jobs(_shape: Any, token: str) -> tuple[Any, ...]:
        jobs = sessions.peek(token).queue.views
        several = sum(job.kind == "reading" and job.state in ("waiting", "under way") for job in jobs) > 1
        keeping = jobs_list(jobs, page, keeping=True)
        return jobs_list(jobs, page), keeping, {} if several else {"display": "none"}

    @app.callback(
        Output(f"{page}-poll", "disabled", allow_duplicate=True),
        Input({"type": CANCEL, "page": page, "key": ALL}, "n_clicks"),
        Input({"type": CLEAR, "page": page, "key": ALL}, "n_clicks"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def end_one(_cancels: list[int | None], _clears: list[int | None], token: str) -> bool:
        if not ctx.triggered[0]["value"]:
            raise PreventUpdate  # the button was created, not pressed
        session, pressed = sessions.open(token), ctx.triggered_id
        if pressed["type"] == CANCEL:
            session.cancel(pressed["key"])
        else:
            session.queue.forget(pressed["key"])
        return False  # once more, to show it in the list

    @app.callback(
        Output(f"{page}-poll", "disabled", allow_duplicate=True),
        Input(f"{page}-cancel-all", "n_clicks"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def end_all(_clicks: int, token: str) -> bool:
        sessions.open(token).cancel()
        return False

    @app.callback(
        Output(f"{page}-poll", "disabled", allow_duplicate=True),
        Input({"type": "analyse-again", "page": page}, "n_clicks"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def analyse_again(clicks: int | None, token: str) -> bool:
        if not clicks:
            raise PreventUpdate
        sessions.open(token).settle()
        return False
