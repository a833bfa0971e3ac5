"""What pages without a script share: their frame; and, to print, the table of facts and the lines to sign."""

from html import escape

SIGNED = ("Technician: name", "Signature", "Date", "Received by: name", "Signature", "Date")


def page(title: str, style: str, body: str) -> str:
    """One page of HTML that needs no network and runs nothing."""
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:">
<link rel="icon" href="data:,">
<title>{escape(title)}</title>
<style>
{style}</style>
</head>
<body>
{body}</body>
</html>
"""


def facts(rows: tuple) -> str:
    """(name, text) a row; an empty text is left to write into."""
    body = "".join(f'<tr><th scope="row">{name}</th><td>{escape(text)}</td></tr>\n' for name, text in rows)
    return f'<table class="facts"><tbody>{body}</tbody></table>'


def signatures() -> str:
    """Two to sign, each a line and what goes onto it."""
    rows = []
    for n in (0, 3):
        heads = "".join(f"<th>{name}</th>" for name in SIGNED[n : n + 3])
        rows.append(f"<tr>{'<td>&nbsp;</td>' * 3}</tr><tr>{heads}</tr>")
    return f'<table class="sign"><tbody>{"".join(rows)}</tbody></table>'
