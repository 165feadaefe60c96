"""``canlog serve``: the upload page."""

from __future__ import annotations

import click

from canlog.errors import CanlogError


@click.command()
@click.option("--data", metavar="DIR", help="Where captures and reports are kept; a folder of this user otherwise.")
@click.option("--port", type=click.IntRange(0, 65535), default=8077, show_default=True, help="0 takes a free one.")
@click.option("--lan", is_flag=True, help="Let others on the network in, with an access key.")
def serve(data: str | None, port: int, lan: bool) -> None:
    """Serve a page to drop captures on and to read reports; for this machine alone, unless --lan is given."""
    from importlib.util import find_spec
    from pathlib import Path

    if not all(map(find_spec, ("starlette", "uvicorn", "python_multipart", "jinja2", "segno"))):
        raise CanlogError("the upload page needs packages that are not installed", hint="pip install 'canlog[serve]'")
    from analysis.serve.run import default_data
    from analysis.serve.run import serve as serve_page

    serve_page(Path(data) if data else default_data(), port, lan=lan)
