"""Whoever sits at the bench, as a session sees them: something that is told, and answers."""

from collections.abc import Callable
from typing import Protocol, TypeVar

from underdash.problems import UnderdashError

Answer = TypeVar("Answer")


class Left(UnderdashError):
    """The person at the bench left; nothing was stored."""

    def __init__(self, text: str = "left; the board keeps the calibration that it had") -> None:
        super().__init__(text)


class Desk(Protocol):
    """A terminal, or a test that plays one."""

    def say(self, text: str) -> None:
        """Tell something; a line or several."""

    def ask(self, question: str) -> str:
        """Ask, and return the line typed. Left if there is no more to read."""

    def live(self, text: str) -> None:
        """Show a line that the next one takes the place of."""


def answer(desk: Desk, question: str) -> str:
    """What was typed, trimmed. Left if it was `q`."""
    typed = desk.ask(question).strip()
    if typed.lower() in ("q", "quit"):
        raise Left
    return typed


def until_right(desk: Desk, question: str, read: Callable[[str], Answer]) -> Answer:
    """Ask until `read` takes the answer; its ValueError or UnderdashError is told, and asked again."""
    while True:
        try:
            return read(answer(desk, question))
        except Left:
            raise
        except (ValueError, UnderdashError) as problem:
            desk.say(f"  {problem}")


def yes(desk: Desk, question: str) -> bool:
    """Ask for y or n until one is given."""

    def read(typed: str) -> bool:
        if typed.lower() in ("y", "yes", "n", "no"):
            return typed.lower()[0] == "y"
        raise ValueError("type y or n")

    return until_right(desk, question + " [y/n] ", read)
