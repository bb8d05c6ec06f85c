"""`secondtape desk`: serve the local page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sizing.commands.streams import refuse, say
from sizing.exits import Exit


def desk(
    folder: Annotated[Path, typer.Argument(metavar="[FOLDER]", help="Folder whose jobs are worked on.")] = Path(),
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port to listen on; 0 takes a free one.")] = 0,
) -> None:
    """Serve the local page: take in photos and readings, look, drag corners, decide.

    Example: secondtape desk jobs/
    """
    if not folder.is_dir():
        raise typer.Exit(refuse(f"{folder}: no such folder; name the folder that holds the jobs"))
    import socket

    import uvicorn

    from sizing.desk.app import create_app
    from sizing.desk.guard import FIRST_KEY, new_token

    with socket.socket() as listening:
        try:
            listening.bind(("127.0.0.1", port))
        except OSError as error:
            says = f"port {port} cannot be used ({error.strerror}); choose another with --port"
            raise typer.Exit(refuse(says)) from None
        listening.listen(128)  # who opens the address at once waits rather than being refused
        chosen = int(listening.getsockname()[1])
        token = new_token()
        say(f"Open http://127.0.0.1:{chosen}/?{FIRST_KEY}={token} in a browser on this machine. Stop with Ctrl+C.")
        server = uvicorn.Server(
            uvicorn.Config(
                create_app(folder, token, chosen), log_level="warning", access_log=False, server_header=False
            )
        )
        server.run(sockets=[listening])
    raise typer.Exit(Exit.DONE)
