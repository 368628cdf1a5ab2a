"""The command `serve`: parse, call, print."""

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from planner import terminal
from planner.terminal import FarmFolder, errors_as_text


def serve(
    farm: FarmFolder,
    host: Annotated[
        str, typer.Option(help="Address to listen on; 0.0.0.0 for the whole network.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port; 0 takes a free one.")] = 8765,
    new_token: Annotated[
        bool, typer.Option("--new-token", help="Make new links; the old ones stop working.")
    ] = False,
    public_name: Annotated[
        list[str] | None,
        typer.Option(help="A name by which the server is called too; may be given often."),
    ] = None,
    tls_cert: Annotated[Path | None, typer.Option(help="Certificate chain (PEM).")] = None,
    tls_key: Annotated[Path | None, typer.Option(help="Its private key (PEM).")] = None,
) -> None:
    """Serve the page, the calendars and the record forms to phones, until Ctrl-C."""
    from planner import server

    def started(links: server.Links | None, new: bool) -> None:
        if links is None:
            typer.echo(
                "The links were shown when they were made, and their secrets are not in "
                f"{farm / 'serve.tokens'}; make new ones with --new-token",
                err=True,
            )
            return
        if new:
            typer.echo(server.picture(links.page))
        typer.echo(f"page: {links.page}")
        typer.echo(f"record: {links.record}")
        typer.echo(f"subscribe: {links.webcal}")
        typer.echo(f"feed: {links.feed}")

    with errors_as_text():
        server.serve(
            server.Settings(
                farm=farm,
                host=host,
                port=port,
                new_token=new_token,
                public_names=tuple(public_name or ()),
                tls_cert=tls_cert,
                tls_key=tls_key,
            ),
            clock=terminal.now,
            started=started,
            report=partial(typer.echo, err=True),
        )
