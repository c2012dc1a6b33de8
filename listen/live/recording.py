"""A take under way: the coach hears it, the keeper writes it, and neither stops the other."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass

from analysis.dial.settings import Setting
from analysis.errors import ToothbeatError
from listen.live.coach import Coach
from listen.live.dialling import DialCoach
from listen.live.ear import EarApart, MakeEar
from listen.live.gaps import place, place_in_sent
from listen.live.intake import Piece
from listen.live.keeping import KeepingError, TakeKeeper
from listen.live.shelf import DiskFullError, Hold, KeptTake, Shelf, ShelfError
from listen.live.telling import PASSING, as_object, standing_passes
from listen.live.told import News, Notice
from listen.setup import Bench


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be recorded: passes on this bench, or, with `settings`, a dial."""

    bench: Bench
    sample_rate_hz: int
    settings: tuple[Setting, ...] = ()


class Recording:
    """One take being coached and kept.

    Parameters
    ----------
    about : dict
        What to write down of the take: where it comes from, and the set-up.
    take : KeptTake or None
        An unfinished take to go on with; None begins a new one.
    """

    def __init__(
        self,
        *,
        shelf: Shelf,
        make_ear: MakeEar,
        order: Order,
        about: dict[str, object],
        take: KeptTake | None = None,
    ) -> None:
        sample_rate_hz = order.sample_rate_hz
        self.bench = order.bench
        self.first = self.first_sent = 0
        if take is not None:
            self.first = shelf.kept_samples(take)
            self.first_sent = place_in_sent(take.events, self.first)
        self._samples = self.first
        ear = self._ear = make_ear(order.bench, sample_rate_hz)
        start_s = self.first / sample_rate_hz
        self._coach: Coach | DialCoach
        if order.settings:
            self._coach = DialCoach(
                ear, settings=order.settings, sample_rate_hz=sample_rate_hz, start_s=start_s
            )
        else:
            self._coach = Coach(
                ear,
                bench=order.bench,
                sample_rate_hz=sample_rate_hz,
                start_s=start_s,
                passes_before=len(standing_passes(take.events)) if take is not None else 0,
            )
        self._shelf = shelf
        self._keeper: TakeKeeper | None = None
        self._hold: Hold | None = None
        self._notices: list[Notice] = []
        self.take = take
        try:
            if self.take is None:
                self.take = shelf.begin({"sample_rate_hz": sample_rate_hz, **about})
            self._hold = Hold(self.take.folder)
            self._keeper = TakeKeeper(
                self.take.folder, sample_rate_hz=sample_rate_hz, first=self.first
            )
        except DiskFullError as error:
            self._notices.append(Notice(str(error)))
        except (ShelfError, KeepingError) as error:
            self._notices.append(Notice(str(error)))

    @property
    def kept(self) -> bool:
        """Whether the take is being written to disk."""
        return self._keeper is not None

    @property
    def duration_s(self) -> float:
        """Length of the take so far."""
        return self._coach.now_s

    def hear(self, piece: Piece) -> Iterator[News]:
        """Coach and keep a piece of sound."""
        while self._notices:
            yield self._notices.pop()
        yield from self._noted(self._coach.hear(piece))
        self._samples += len(piece.samples)
        if self._keeper is not None:
            try:
                if piece.then_sent is not None:
                    self._keeper.add_event(place(self._samples, piece.then_sent))
                self._keeper.add_sound(piece.samples)
            except KeepingError as error:
                yield self._stop_keeping(error)

    def word(self, word: str) -> Iterator[News]:
        """Pass on what the person asks for during a calibration."""
        if isinstance(self._coach, DialCoach):
            yield from self._noted(self._coach.word(word))

    def finish(self) -> Iterator[News]:
        """End the take: the last passes and the summary; the sound becomes one file."""
        yield from self._noted(self._coach.finish())
        self._let_go(finish=True)

    def leave(self) -> None:
        """Let the files go without ending the take, so that it can be taken up again."""
        self._let_go(finish=False)

    def _noted(self, news: Iterator[News]) -> Iterator[News]:
        """Write news down before it is told: what was seen is kept."""
        for piece in news:
            told = as_object(piece, self.bench)
            if self._keeper is not None and told["kind"] not in PASSING:
                try:
                    self._keeper.add_event(told)
                except KeepingError as error:
                    yield self._stop_keeping(error)
            yield piece

    def _stop_keeping(self, error: KeepingError) -> Notice:
        if self._keeper is not None:
            self._keeper.drop()
            self._keeper = None
        return Notice(str(error))

    def _let_go(self, *, finish: bool) -> None:
        if isinstance(self._ear, EarApart):
            self._ear.close()
        if self._keeper is not None:
            with suppress(KeepingError):
                self._keeper.close()
            self._keeper = None
        if self._hold is not None:
            self._hold.release()
            self._hold = None
        if finish and self.take is not None:
            # Without room for the last note the take stays unfinished, and is offered again.
            with suppress(OSError, ToothbeatError):
                self._shelf.end(self.take)
