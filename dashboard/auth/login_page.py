"""The page before all others: one field and one button, without a script."""

from __future__ import annotations

from html import escape
from typing import Final

from dashboard.auth.tokens import LASTS_S

_PAGE: Final = """<!DOCTYPE html>
<html lang="en">
    <head>
        <meta charset="utf-8">
        <meta name="viewport" content="width=device-width, initial-scale=1">
        <meta name="color-scheme" content="light">
        <title>Passphrase – Reciprocal</title>
        <link rel="icon" href="/assets/mark.svg" type="image/svg+xml">
        <link rel="stylesheet" href="/assets/page.css">
        <link rel="stylesheet" href="/assets/login.css">
    </head>
    <body class="login">
        <header class="top">
            <span class="brand"><span class="brand-mark" aria-hidden="true"></span>Reciprocal</span>
        </header>
        <main class="page plain">
            <h1>Say the passphrase</h1>
            <p>It was chosen on the machine that runs Reciprocal. You then stay in for {hours} hours, or until
            you log out.</p>
            <form method="post" action="/login">
                <input type="hidden" name="next" value="{next}">
                <input type="text" autocomplete="username" value="reader" hidden>
                <label for="passphrase">Passphrase</label>
                <input id="passphrase" name="passphrase" type="password" autocomplete="current-password"
                    required autofocus{described}>
                {said}
                <button type="submit">Log in</button>
            </form>
            <p class="quiet">Plain HTTP: whoever else is on this network can read along. Use it on a network
            that you trust, and nowhere else.</p>
        </main>
    </body>
</html>
"""

BECAUSE: Final = {
    "foreign": "Your browser showed a cookie that was not given out here. Log in again.",
    "expired": "Your time was up, or you had logged out. Log in again.",
    "left": "You are logged out.",
}
"""Why somebody stands before the page who did not ask for it, by the word in its address."""


def login_page(after: str, said: str = "", *, wrong: bool = False) -> str:
    """Write the page.

    Parameters
    ----------
    after : str
        The path to go to then.
    said : str
        A sentence above the button.
    wrong : bool
        Whether the sentence is about what was typed.
    """
    role = "alert" if wrong else "status"
    sentence = f'<p id="said" class="field-error" role="{role}">{escape(said)}</p>' if said else ""
    described = ' aria-describedby="said"' if said else ""
    if wrong:
        described += ' aria-invalid="true"'
    return _PAGE.format(hours=LASTS_S // 3600, next=escape(after), described=described, said=sentence)
