"""The list of a reader's jobs: each file with its own progress and its own button to cancel."""

from __future__ import annotations

from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.session.jobs import JobView
from dashboard.ui.badges import icon

SHARE: Final = "job-share"
CANCEL: Final = "job-cancel"
CLEAR: Final = "job-clear"
_POLL_MS: Final = 400
_DOES: Final = {
    "reading": "Reading",
    "analysing": "Analysing the logs",
    "keeping": "Saving in the logbook",
}
_ENDED: Final = {
    "reading": "Cancelled: nothing was saved.",
    "analysing": "The analysis was cancelled, so there is no answer for these logs.",
    "keeping": "Cancelled: nothing was saved in the logbook.",
}


def jobs_area(page: str) -> html.Div:
    """Build the area for a page's jobs; it polls the server only while a job is running."""
    return html.Div(
        [
            html.Ul(id=f"{page}-jobs", className="jobs", **{"aria-label": "Under way"}),
            dmc.Button("Cancel all", id=f"{page}-cancel-all", variant="default", style={"display": "none"}),
            dcc.Interval(id=f"{page}-poll", interval=_POLL_MS),
            dcc.Store(id=f"{page}-shape"),
            dcc.Store(id=f"{page}-seen"),
        ]
    )


def shape_of(jobs: tuple[JobView, ...], kept: int | None = None) -> list[str]:
    """Identify what the list and the form show, apart from the progress; they are redrawn when this changes.

    A saving may be over before the page first polls: then no job reports it, the outing does.
    """
    return [*(f"{job.key} {job.state}" for job in jobs), *([] if kept is None else [f"kept {kept}"])]


def percent(job: JobView) -> int:
    """Return the share done in whole percent."""
    return round(100.0 * job.share)


def jobs_list(jobs: tuple[JobView, ...], page: str, *, keeping: bool = False) -> list[html.Li]:
    """List the jobs, running ones with their progress: only the saving, or all others."""
    mine = [job for job in jobs if (job.kind == "keeping") == keeping]
    # A waiting analysis is not listed: it follows the reading. A form shows itself why it cannot be saved.
    hidden = (("analysing", "waiting"), ("keeping", "failed"))
    return [_job(job, page) for job in mine if (job.kind, job.state) not in hidden]


def _job(job: JobView, page: str) -> html.Li:
    title = job.name or _DOES[job.kind]
    open_ = job.state in ("waiting", "under way")
    button = dmc.Button(
        "Cancel" if open_ else "Remove",
        id={"type": CANCEL if open_ else CLEAR, "page": page, "key": job.key},
        variant="default",
        **{"aria-label": f"Cancel {title}" if open_ else f"Remove {title} from the list"},
    )
    head = html.Div([html.Strong(title, className="file-name"), button], className="file-head")
    parts: list[Any] = [head]
    if job.state == "waiting":
        parts.append(html.P("Waiting", className="quiet"))
    elif job.state == "under way":
        parts.append(html.P(_DOES[job.kind], className="quiet"))
        parts.append(_bar(job, page, title))
    elif job.state == "cancelled":
        parts.append(html.P(_ENDED[job.kind]))
    else:
        parts.append(html.P([icon("cross"), job.said], className="file-error", role="alert"))
    if job.kind == "analysing" and not open_:
        again = dmc.Button("Analyse them", id={"type": "analyse-again", "page": page}, variant="default")
        parts.append(again)
    return html.Li(parts, className="file")


def _bar(job: JobView, page: str, title: str) -> html.Progress:
    return html.Progress(
        id={"type": SHARE, "page": page, "key": job.key},
        value=str(percent(job)),
        max="100",
        className="share",
        **{"aria-label": f"{title}: share done"},
    )
