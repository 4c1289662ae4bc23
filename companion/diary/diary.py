"""The diary: pupils, settings, consents, takes with their moves, what was set and what was done.

Everything is written in whole transactions, so a kill or a power cut loses at most the take in progress. The packages
of tunes and matches are loaded when a take is written or read: a session at home opens its diary before its first word.
"""

from __future__ import annotations

import difflib
import json
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import UTC, date, datetime, timedelta
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar
from urllib.parse import quote

from companion.diary.copies import erase, erase_copies
from companion.diary.merge import Merged, Rows, merge_rows, read_rows
from companion.diary.model import Consent, KeptTake, Pupil, Purpose, SessionKind, TakeMove, Tally, Work
from companion.diary.settings import SETTINGS, SettingName, Settings, kept_setting
from companion.diary.store import (
    BUSY_S,
    QUICK_BUSY_S,
    SWEEP,
    Locked,
    Store,
    Unusable,
    beside,
    damaged,
    default_path,
    is_beside,
)
from companion.errors import Trouble
from companion.messages import _

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from companion.match import Match

LONGEST_NAME = 40
END_CONSENT = "UPDATE consents SET ended_at = ? WHERE pupil = ? AND purpose = ? AND ended_at IS NULL"


def utc_now() -> datetime:
    return datetime.now(UTC)


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)


def called(nickname: str) -> str:
    """A nickname as it is compared. Raises Trouble where it is none."""
    name = " ".join(nickname.split())
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise Trouble(_("A pupil is known by a nickname of 1 to {LONGEST_NAME} letters; give one.").format(
                            LONGEST_NAME=LONGEST_NAME))
    return name.casefold()


class _Undone(Exception):
    """Raised to roll a transaction back."""


P = ParamSpec("P")
R = TypeVar("R")


def _reading(method: Callable[Concatenate[Diary, P], R]) -> Callable[Concatenate[Diary, P], R]:
    """What this program cannot have written (a damaged byte in a date, a name or JSON) raises Unusable."""
    @wraps(method)
    def read(self: Diary, *args: P.args, **named: P.kwargs) -> R:
        try:
            return method(self, *args, **named)
        except (ValueError, TypeError, KeyError, OverflowError, RecursionError) as error:
            raise Unusable(damaged(self.path)) from error

    return read  # type: ignore[return-value]  # a method that is called as one


class Diary:
    """A diary file. path: None for the one in the user's data folder; clock: gives the time in UTC.

    busy_s: how long to wait at the opening for another program.

    in_memory: nothing is written until it is closed; then it is put into the diary at `path`, if that can be.

    Raises Trouble (`Locked`, `Unusable`) where the file cannot be used; it is then left as it is.
    """

    def __init__(self, path: str | Path | None = None, clock: Callable[[], datetime] = utc_now,
                 busy_s: float = BUSY_S, in_memory: bool = False) -> None:
        self.path = Path(path) if path else default_path()
        self._clock = clock
        self._store = Store(self.path, busy_s, in_memory)
        if in_memory:
            return
        self._drop_old_sounds()
        self._take_over_beside()
        self._store.keep_copy()

    def __enter__(self) -> Diary:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """In memory, what was kept goes to the diary's file or beside it; where neither can be written it is lost."""
        if self._store.in_memory and self.pupils():
            for place in (self.path, beside(self.path)):
                with suppress(Trouble), Diary(place, self._clock) as diary:
                    diary.merge(read_rows(self._store._con))
                    break
        self._store.close()

    @property
    def in_memory(self) -> bool:
        """Whether this diary is in no file."""
        return self._store.in_memory

    def merge(self, rows: Rows) -> Merged:
        """Put in what another diary holds, in one transaction; nothing twice, and what is here stays."""
        with self._store.writing() as write:
            return merge_rows(rows, write, self._now())

    def _take_over_beside(self) -> None:
        """What a session kept beside this diary while it could not be used is put in, and the file erased."""
        file = beside(self.path)
        if is_beside(self.path) or not file.is_file():
            return
        with suppress(Trouble, OSError, sqlite3.Error, UnicodeDecodeError), \
                closing(sqlite3.connect(f"file:{quote(str(file))}?mode=rw", uri=True, timeout=0, isolation_level=None)) as con:
            con.execute("PRAGMA locking_mode = EXCLUSIVE")  # fails where a session has it open: another time, then
            con.execute("BEGIN EXCLUSIVE")
            self.merge(read_rows(con))
            con.execute("ROLLBACK")
            erase_copies(file)
            erase(file)

    def integrity(self) -> list[tuple[str]]:
        """What SQLite finds amiss in the file: [("ok",)] where nothing is."""
        return self._store.rows("PRAGMA integrity_check(10)")

    def probe(self) -> None:
        """Read what a session needs of every pupil, and try to write. Raises Unusable where it is damaged."""
        with suppress(_Undone), self._store.writing() as write:
            write.execute("INSERT INTO pupils (nickname, called, since) VALUES ('', '', '')")
            raise _Undone
        for pupil in self.pupils():
            self.settings(pupil)
            self.consent(pupil)
            self.work(pupil)
            for owner in self.owners(pupil):
                self.kept(pupil, owner)

    # --- pupils ---

    @_reading
    def pupils(self) -> list[Pupil]:
        """All pupils, in order of their names."""
        found = self._store.rows("SELECT id, nickname, low, high, since FROM pupils ORDER BY called")
        return [Pupil(i, n, low, high, _time(s)) for i, n, low, high, s in found]

    @_reading
    def find(self, nickname: str) -> Pupil | None:
        found = self._store.rows("SELECT id, nickname, low, high, since FROM pupils WHERE called = ?",
                                 (called(nickname),))
        for i, name, low, high, since in found:
            return Pupil(i, name, low, high, _time(since))
        return None

    def pupil(self, nickname: str, new: bool = False) -> Pupil:
        """A pupil by nickname; with `new` one is begun where there is none. Raises Trouble where there is none."""
        pupil = self.find(nickname)
        if pupil is None and new:
            name = " ".join(nickname.split())
            with self._store.writing() as write:
                write.execute("INSERT OR IGNORE INTO pupils (nickname, called, since) VALUES (?, ?, ?)",
                              (name, called(name), self._now()))
            pupil = self.find(nickname)
        if pupil is None:
            raise self.no_pupil(nickname)
        return pupil

    def no_pupil(self, nickname: str) -> Trouble:
        """What to raise where there is no pupil of this name; it names one whose name is like it."""
        near = self.near(nickname)
        if near is None:
            return Trouble(_("The diary has no pupil {nickname}. companion diary lists the pupils.").format(nickname=nickname))
        return Trouble(_("The diary has no pupil {nickname}. Did you mean {near}?").format(nickname=nickname, near=near))

    def near(self, nickname: str) -> str | None:
        """A pupil whose name is like this one, for a slip of the keys."""
        names = {called(p.nickname): p.nickname for p in self.pupils()}
        found = difflib.get_close_matches(called(nickname), names, 1, 0.6)
        return names[found[0]] if found else None

    def set_range(self, pupil: Pupil, low: float, high: float) -> None:
        """The comfortable range, MIDI numbers."""
        if not 24 <= low < high <= 108:
            raise Trouble(_("The range was {low:g} to {high:g}; give the lowest note and then the highest.").format(
                                low=low, high=high))
        with self._store.writing() as write:
            write.execute("UPDATE pupils SET low = ?, high = ? WHERE id = ?", (low, high, pupil.id))

    def forget(self, nickname: str) -> bool:
        """Delete a pupil for good, with all that belongs to them; False where there is none.

        No byte of it is left in the diary's files afterwards. Raises Locked where another program keeps the
        file open so that traces cannot be cleared; they are cleared when the diary is opened again.
        """
        with self._store.writing() as write:
            gone = write.execute("DELETE FROM pupils WHERE called = ?", (called(nickname),)).rowcount > 0
            write.execute("INSERT OR IGNORE INTO chores VALUES (?)", (SWEEP,))
        self._store.sweep()
        return gone

    # --- settings ---

    @_reading
    def settings(self, pupil: Pupil) -> Settings:
        """All settings of a pupil, defaults where nobody has said."""
        said = dict(self._store.rows("SELECT name, value FROM settings WHERE pupil = ?", (pupil.id,)))
        return {name: kept_setting(name, json.loads(said[name])) if name in said else s.default
                for name, s in SETTINGS.items()}

    def set_setting(self, pupil: Pupil, name: SettingName, value: Any) -> None:
        with self._store.writing() as write:
            write.execute("INSERT OR REPLACE INTO settings VALUES (?, ?, ?)", (pupil.id, name, json.dumps(value)))

    # --- consents ---

    def give_consent(self, pupil: Pupil, given_by: str, until: date | None = None,
                     purpose: Purpose = Purpose.RECORDING) -> None:
        """Someone responsible allows `purpose` until the end of a day. An earlier consent to it is ended.

        Raises Trouble where nobody is named or the day is past.
        """
        who = " ".join(given_by.split())
        if not who:
            raise Trouble(_("Say who gives the consent."))
        self.check_last_day(until)
        with self._store.writing() as write:
            write.execute(END_CONSENT, (self._now(), pupil.id, purpose))
            write.execute("INSERT INTO consents (pupil, given_by, purpose, given_at, until) "
                          "VALUES (?, ?, ?, ?, ?)",
                          (pupil.id, who, purpose, self._now(), until.isoformat() if until else None))

    def check_last_day(self, until: date | None) -> None:
        """Raises Trouble for a consent that would have ended before it begins."""
        if until is not None and until < self._clock().date():
            raise Trouble(_("{until} is past; give the last day of the consent, today or later.").format(until=until))

    def withdraw_consent(self, pupil: Pupil, purpose: Purpose = Purpose.RECORDING) -> None:
        """The consent ends; sound that was kept under it is deleted for good."""
        with self._store.writing() as write:
            write.execute(END_CONSENT, (self._now(), pupil.id, purpose))
            if purpose is Purpose.RECORDING:
                write.execute("DELETE FROM sounds WHERE take IN (SELECT id FROM takes WHERE pupil = ?)",
                              (pupil.id,))
            write.execute("INSERT OR IGNORE INTO chores VALUES (?)", (SWEEP,))
        self._store.sweep()

    @_reading
    def consent(self, pupil: Pupil, purpose: Purpose = Purpose.RECORDING) -> Consent | None:
        """The consent that holds today. One whose last day is past is ended for good, so that a clock that is
        moved back does not bring it to life again."""
        today = self._clock().date().isoformat()
        query = "pupil = ? AND purpose = ? AND ended_at IS NULL"
        if self._store.rows(f"SELECT 1 FROM consents WHERE {query} AND until < ?", (pupil.id, purpose, today)):
            with self._store.writing() as write:
                write.execute(f"UPDATE consents SET ended_at = ? WHERE {query} AND until < ?",
                              (self._now(), pupil.id, purpose, today))
        found = self._store.rows(f"SELECT given_by, purpose, given_at, until FROM consents WHERE {query}",
                                 (pupil.id, purpose))
        if not found:
            return None
        who, what, at, until = found[0]
        return Consent(who, Purpose(what), _time(at), date.fromisoformat(until) if until else None)

    # --- takes ---

    def add_take(self, pupil: Pupil, session: SessionKind, tune: str, match: Match, cue: str,
                 sound: tuple[NDArray[np.float32], int] | None = None) -> int:
        """Keep a take: its notes, its moves and what was said. Returns its number.

        sound: mono float samples and their rate; kept (as FLAC) only where a consent holds today.
        """
        flac = _flac(*sound) if sound is not None and self.consent(pupil) else None
        notes = [{"number": n.written.number, "written": n.written.pitch.name, "sung": n.sung, "midi": n.midi,
                  "onset_s": n.onset_s, "duration_s": n.duration_s} for n in match.notes]
        days = int(self.settings(pupil)[SettingName.KEEP_SOUND_DAYS]) if flac else 0
        with self._store.writing() as write:
            cursor = write.execute(
                "INSERT INTO takes (pupil, at, session, tune, first, last, shift, closeness, cue, notes) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (pupil.id, self._now(), session, tune, notes[0]["number"], notes[-1]["number"],
                 match.shift_semitones, match.closeness, cue, json.dumps(notes)))
            take = int(cursor.lastrowid or 0)
            write.executemany(
                "INSERT INTO moves VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [(take, m.start, m.end, m.wanted, m.heard, m.verdict, m.sure, m.kind,
                  m.wanted_semitones, m.sung_semitones) for m in match.moves])
            if flac:
                until = (self._clock() + timedelta(days=days)).date().isoformat()
                write.execute("INSERT INTO sounds VALUES (?, ?, ?)", (take, until, flac))
        return take

    def remove_take(self, take: int) -> None:
        """A take by its number, its moves and its sound, gone for good."""
        with self._store.writing() as write:
            write.execute("DELETE FROM takes WHERE id = ?", (take,))
            write.execute("INSERT OR IGNORE INTO chores VALUES (?)", (SWEEP,))
        with suppress(Locked):  # the chore stays for the next opening
            self._store.sweep(QUICK_BUSY_S)

    @_reading
    def takes(self, pupil: Pupil, since: datetime | None = None, tune: str | None = None) -> list[KeptTake]:
        """Takes of a pupil in the order in which they were saved; `since`: from that time on."""
        query, values = "pupil = ?", [pupil.id]
        for column, value in (("at >= ?", since.isoformat() if since else None), ("tune = ?", tune)):
            if value is not None:
                query, values = f"{query} AND {column}", [*values, value]  # type: ignore[list-item]
        found = self._store.rows("SELECT id, at, session, tune, first, last, shift, closeness, cue, notes "
                                 f"FROM takes WHERE {query} ORDER BY id", tuple(values))
        moves: dict[int, list[TakeMove]] = {}
        for row in self._store.rows(
                "SELECT take, start, stop, wanted, heard, verdict, sure, kind, wanted_semitones, sung_semitones "
                f"FROM moves WHERE take IN (SELECT id FROM takes WHERE {query}) ORDER BY take, start",
                tuple(values)):
            moves.setdefault(row[0], []).append(_move(*row[1:]))
        return [KeptTake(i, _time(at), SessionKind(session), name, first, last, shift, close, cue, tuple(json.loads(notes)),
                         tuple(moves.get(i, ())))
                for i, at, session, name, first, last, shift, close, cue, notes in found]

    def sound(self, take: int) -> bytes | None:
        """The sound of a take as a FLAC file, None where none is kept."""
        found = self._store.rows("SELECT flac FROM sounds WHERE take = ?", (take,))
        return bytes(found[0][0]) if found else None

    def sounds(self, pupil: Pupil) -> list[int]:
        """Numbers of the takes whose sound is kept."""
        return [n for (n,) in self._store.rows(
            "SELECT take FROM sounds JOIN takes ON take = id WHERE pupil = ? ORDER BY take", (pupil.id,))]

    @_reading
    def tally(self, pupil: Pupil, since: datetime | None = None, until: datetime | None = None) -> list[Tally]:
        """For each kind of move how often it went right, most sung first; from `since` to before `until`."""
        from companion.match import MoveKind, Verdict

        query, values = "pupil = ?", [Verdict.RIGHT, Verdict.WRONG, Verdict.UNSURE, str(pupil.id)]
        for column, time in (("at >= ?", since), ("at < ?", until)):
            if time is not None:
                query, values = f"{query} AND {column}", [*values, time.isoformat()]
        found = self._store.rows("SELECT kind, sum(verdict = ?), sum(verdict = ?), sum(verdict = ?) FROM moves JOIN takes "
                                 f"ON take = id WHERE {query} GROUP BY kind ORDER BY count(*) DESC, kind", tuple(values))
        return [Tally(MoveKind(kind), right, wrong, unsure) for kind, right, wrong, unsure in found]

    def _drop_old_sounds(self) -> None:
        today = self._clock().date().isoformat()
        if self._store.rows("SELECT 1 FROM sounds WHERE until < ? LIMIT 1", (today,)):
            with self._store.writing() as write:
                write.execute("DELETE FROM sounds WHERE until < ?", (today,))
                write.execute("INSERT OR IGNORE INTO chores VALUES (?)", (SWEEP,))
            with suppress(Locked):
                self._store.sweep(QUICK_BUSY_S)

    # --- what was set for the week ---

    def set_work(self, pupil: Pupil, tune: str, days: int = 7) -> None:
        """Set a tune for so many days; set again, its days begin anew."""
        if not 1 <= days <= 366:
            raise Trouble(_("The days were {days}; give 1 to 366.").format(days=days))
        until = (self._clock() + timedelta(days=days)).date().isoformat()
        with self._store.writing() as write:
            write.execute("DELETE FROM work WHERE pupil = ? AND tune = ?", (pupil.id, tune))
            write.execute(
                "INSERT INTO work (pupil, set_at, until, tune, after_take) VALUES (?, ?, ?, ?, "
                "(SELECT coalesce(max(id), 0) FROM takes))", (pupil.id, self._now(), until, tune))

    @_reading
    def work(self, pupil: Pupil) -> list[Work]:
        """What is set today, in the order in which it was set, with how many takes were sung since."""
        today = self._clock().date().isoformat()
        found = self._store.rows(
            "SELECT tune, set_at, until, (SELECT count(*) FROM takes WHERE takes.pupil = work.pupil "
            "AND takes.tune = work.tune AND takes.id > after_take) FROM work WHERE pupil = ? AND until >= ? "
            "ORDER BY id", (pupil.id, today))
        return [Work(tune, _time(at), date.fromisoformat(until), takes) for tune, at, until, takes in found]

    # --- what other packages keep ---

    def keep(self, pupil: Pupil, owner: str, name: str, value: Any) -> None:
        """Remember something that JSON can hold; None forgets it. owner: the package that keeps it, as "course"."""
        with self._store.writing() as write:
            if value is None:
                write.execute("DELETE FROM kept WHERE pupil = ? AND room = ? AND name = ?", (pupil.id, owner, name))
            else:
                write.execute("INSERT OR REPLACE INTO kept VALUES (?, ?, ?, ?)",
                              (pupil.id, owner, name, json.dumps(value)))

    def change_kept(self, pupil: Pupil, owner: str, name: str, change: Callable[[Any], Any]) -> None:
        """Read, change and write what is kept under a name, in one transaction. change: the new value from the old one,
        which is None where nothing was kept."""
        with self._store.writing() as write:
            found = write.execute("SELECT value FROM kept WHERE pupil = ? AND room = ? AND name = ?",
                                  (pupil.id, owner, name)).fetchone()
            try:
                before = json.loads(found[0]) if found else None
            except (ValueError, TypeError, RecursionError) as error:
                raise Unusable(damaged(self.path)) from error
            value = change(before)
            write.execute("INSERT OR REPLACE INTO kept VALUES (?, ?, ?, ?)", (pupil.id, owner, name, json.dumps(value)))

    @_reading
    def kept(self, pupil: Pupil, owner: str) -> dict[str, Any]:
        """All that a package has kept for a pupil, by name."""
        return {name: json.loads(value) for name, value in self._store.rows(
            "SELECT name, value FROM kept WHERE pupil = ? AND room = ? ORDER BY name", (pupil.id, owner))}

    def owners(self, pupil: Pupil) -> list[str]:
        """Packages that have kept something for a pupil."""
        return [r for (r,) in self._store.rows("SELECT DISTINCT room FROM kept WHERE pupil = ? ORDER BY room",
                                               (pupil.id,))]

    @_reading
    def consents(self, pupil: Pupil) -> list[dict[str, Any]]:
        """Every consent ever given, in order, also those that have ended."""
        names = ("given_by", "purpose", "given_at", "until", "ended_at")
        return [dict(zip(names, row, strict=True)) for row in self._store.rows(
            f"SELECT {', '.join(names)} FROM consents WHERE pupil = ? ORDER BY id", (pupil.id,))]

    def now(self) -> datetime:
        return self._clock()

    def _now(self) -> str:
        return self._clock().isoformat(timespec="milliseconds")


def _flac(samples: NDArray[np.float32], rate: int) -> bytes:
    import io

    import soundfile

    data = io.BytesIO()
    soundfile.write(data, samples, rate, format="FLAC", subtype="PCM_16")
    return data.getvalue()


def _move(start: int, end: int, wanted: str, heard: str | None, verdict: str, sure: float, kind: str,
          wanted_semitones: int, sung_semitones: float | None) -> TakeMove:
    """A row of the table of moves."""
    from companion.match import MoveKind, Verdict
    from companion.tune import Direction

    return TakeMove(start, end, Direction(wanted), Direction(heard) if heard else None, Verdict(verdict), sure,
                    MoveKind(kind), wanted_semitones, sung_semitones)


def open_or_beside(path: str | Path | None = None,
                   clock: Callable[[], datetime] = utc_now) -> tuple[Diary, Trouble | None]:
    """The diary, or where it cannot be used a fresh one beside it, or one in memory; and what stood in the way.

    For sessions, which should not fail for it: a child waits. What is kept beside, or in memory, is put into the diary
    when that can be used again, see `Diary`.
    """
    place = Path(path) if path else default_path()
    trouble: Trouble | None = None
    for file in (place, beside(place)):
        try:
            diary = Diary(file, clock, QUICK_BUSY_S)
        except Trouble as found:
            trouble = trouble or found
            continue
        try:
            diary.probe()
            return diary, trouble
        except Trouble as found:
            trouble = trouble or found
            diary.close()
    return Diary(place, clock, in_memory=True), trouble
