"""`benchapp watch`: look on at a run that another process measures, without touching it."""

from __future__ import annotations

import argparse
import sys

from benchapp.cli.decision_options import exit_with_all
from benchapp.cli.progress import Progress
from benchapp.errors import Fault, InputError
from benchapp.host.cards import RunCard, under_way
from benchapp.host.remote import RemoteSession
from benchapp.result.words import in_words


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "watch",
        help="look on at a run that is under way",
        description="Follow a run of another window or terminal from its first reading, without orders; Ctrl+C leaves"
        " and the run goes on. Without a number: the one that is under way. To switch its output off: benchapp off.",
    )
    parser.add_argument("number", nargs="?", metavar="RUN", type=int, help="its number in the logbook")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Look on until it ends; the exit status is that of the run."""
    session = RemoteSession(_chosen(arguments.number), owner=False)
    print(f"Looking on at {session.card.in_words}, which takes its orders from {_owner(session)}", file=sys.stderr)
    progress = Progress(session)
    try:
        while not session.ended:
            session.wait_for_change(0.1)
            progress.show()
    except KeyboardInterrupt:
        session.leave()
        print("benchapp: left; the run goes on", file=sys.stderr)
        return 0
    progress.show(final=True)
    end, stated = session.end, session.statements
    assert end is not None
    print(f"{end.reason}: {end.text.rstrip('.')}. Run {session.run_id} is in {session.logbook}", file=sys.stderr)
    if not any(one.estimate.blocks for one in stated):
        return end.exit_status or 4
    for one in stated:
        print(in_words(session.recipe.name or f"run {session.run_id}", one))
    return end.exit_status or exit_with_all(stated, None)


def _owner(session: RemoteSession) -> str:
    return session.owner_name or "nobody"


def _chosen(number: int | None) -> RunCard:
    """The run of that number, or the only one. Raises InputError."""
    cards = under_way()
    found = [card for card in cards if number in (None, card.run_id)]
    if len(found) == 1:
        return found[0]
    told = "; ".join(card.in_words for card in cards)
    if not found:
        remedy = f"Under way: {told}" if cards else "No run of yours is under way on this machine"
        raise InputError(Fault("is not under way", "" if number is None else str(number), remedy, field="RUN"))
    raise InputError(Fault("several are under way", "", f"Write the number of one of them: {told}", field="RUN"))
