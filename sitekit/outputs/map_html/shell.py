"""The page around: a security policy that names every script and style by its hash and forbids the network."""

from __future__ import annotations

import base64
import hashlib
import html

from sitekit.base.wording import wording


def policy(scripts: list[str], styles: list[str]) -> str:
    """Return the content-security policy of a page that runs these scripts and styles and nothing else."""

    def hashes(texts: list[str]) -> str:
        return " ".join(f"'sha256-{base64.b64encode(hashlib.sha256(t.encode()).digest()).decode()}'" for t in texts)

    return (
        f"default-src 'none'; img-src data:; script-src {hashes(scripts)}; style-src {hashes(styles)}; "
        "base-uri 'none'; form-action 'none'"
    )


def assemble(title: str, scripts: list[str], styles: list[str], body: str, blocks: dict[str, tuple[str, str]]) -> str:
    """Return the whole page.

    Parameters
    ----------
    title : str
        Escaped here.
    scripts, styles : list of str
        Written into the page as they are.
    body : str
        HTML; its texts are escaped by its maker.
    blocks : dict of str to (type, text)
        Data blocks by id; the text must hold no `<`.
    """
    lines = [
        "<!DOCTYPE html>",
        f'<html lang="{wording().language}">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{policy(scripts, styles)}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="referrer" content="no-referrer">',
        '<link rel="icon" href="data:,">',
        f"<title>{html.escape(title)}</title>",
        *(f"<style>{s}</style>" for s in styles),
        "</head>",
        "<body>",
        body,
        *(f'<script type="{kind}" id="{name}">{text}</script>' for name, (kind, text) in blocks.items()),
        *(f"<script>{s}</script>" for s in scripts),
        "</body>",
        "</html>",
    ]
    return "\n".join(lines) + "\n"


def filled(template: str, parts: dict[str, str]) -> str:
    """Return a template with each `@@name@@` replaced by its part."""
    pieces = template.split("@@")
    return "".join(piece if i % 2 == 0 else parts[piece] for i, piece in enumerate(pieces)).strip()
