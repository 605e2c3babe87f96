"""The frame around every page, and text made safe for it."""

STYLE = (
    "body{font:1.1em sans-serif;max-width:32em;margin:1em auto;padding:0 1em;color:#222;background:#fff}"
    "label{display:block;margin-top:1em}input{font:inherit;width:100%;box-sizing:border-box;min-height:2em}"
    "button{font:inherit;margin-top:1.5em;min-height:2.5em;padding:0 1.5em}"
    "small{display:block;color:#555}.wrong{color:#a00000}dt{font-weight:bold;margin-top:.6em}"
)


def escape(text):
    """Return text that means itself in HTML, in attributes too."""
    text = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return text.replace('"', "&quot;").replace("'", "&#39;")


def page(title, body):
    """Return a whole page; `body` is HTML, `title` is text."""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        "<title>%s</title>\n<style>%s</style>\n</head>\n<body>\n<main>\n<h1>%s</h1>\n%s</main>\n</body>\n</html>\n"
    ) % (escape(title), STYLE, escape(title), body)
