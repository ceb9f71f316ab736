"""Changes to what joins ship and office: the line, what the office may ask, frames and patches; and to tasks and plant summaries."""

from tests.mutants.change import Change

_BOUNDS = ("tests/unit/domain/test_shore_bounds.py",)
_FRAMES = ("tests/unit/domain/test_shore_frame.py",)
_PATCHES = ("tests/property/test_merge_patch_laws.py", *_BOUNDS)
_SUMMARIES = ("tests/unit/domain/test_plant_summary.py",)
_TASKS = ("tests/unit/test_tasks.py",)
_PENDING = ("tests/storage/test_tasks.py",)


def _changes(file: str, tests: tuple[str, ...], *rows: tuple[str, str, str, str]) -> tuple[Change, ...]:
    return tuple(
        Change(name=name, file=f"scheduler/{file}", old=old, new=new, breaks=breaks, tests=tests)
        for name, old, new, breaks in rows
    )


_OF_THE_LINE = _changes(
    "domain/shore/line_state.py",
    _BOUNDS,
    ("line-a-day", "now - since_at <= AWAY_LONG", "now - since_at < AWAY_LONG", "A link down for just a day is nothing to look at."),
    ("line-days", "timedelta(days=1)", "timedelta(days=2)", "A link down for more than a day is a note."),
    ("line-parted", "ShoreState.KEY, ShoreState.PARTED, ", "ShoreState.KEY, ", "A person decides on a parted life."),
    ("line-refused", "ShoreState.PARTED, ShoreState.REFUSED}", "ShoreState.PARTED}", "What is refused needs a person."),
    ("line-since", "since_at = status.since_at or since_at", "since_at = since_at or status.since_at",
     "A person is waited for since it was said."),
    ("line-reached", "status.reached_at or status.joined_at", "status.joined_at or status.reached_at",
     "An office is away since it was last reached."),
    ("line-joining", "if status.joining or status.state in", "if status.state in", "A ship that is joining is to be seen to."),
    ("line-note", "note = not status.joining and", "note = not status.joining or", "What waits for a person is more than a note."),
)  # fmt: skip

_OF_ASKING = _changes(
    "domain/shore/asking.py",
    _BOUNDS,
    ("asking-document", "CHANGE_DOCUMENT: Effect.AFTER_CHIEF", "CHANGE_DOCUMENT: Effect.AT_ONCE",
     "The chief engineer accepts a changed document first."),
    ("asking-step", "TAKE_STEP: Effect.NEVER", "TAKE_STEP: Effect.AT_ONCE", "No step of the work is taken from ashore."),
    ("asking-sign", "SIGN_ABOARD: Effect.NEVER", "SIGN_ABOARD: Effect.AFTER_CHIEF", "Nobody ashore signs as chief or hotel."),
    ("asking-whole", "len(steps) >= 3", "len(steps) > 3", "A member of a plant may be asked for as a whole."),
    ("asking-plants", 'and steps[0] == "plants"', "", "What is no member of a plant the office does not ask for."),
    ("asking-members", '"minimum_blocks", "crew"}', '"minimum_blocks", "crew", "pumps"}', "Pumps are set up aboard."),
    ("asking-open", "{RequestState.TAKEN, RequestState.WAITING}", "{RequestState.TAKEN}", "What waits for the chief is open."),
)  # fmt: skip

_OF_PACE = _changes(
    "domain/shore/pace.py",
    _BOUNDS,
    ("pace-first", "min(failures - 1, 30)", "min(failures, 30)", "After the first failure it is a second."),
    ("pace-chance", "(0.5 + chance / 2)", "(0.5 + chance)", "Never longer than five minutes."),
    ("pace-asked", "return max(grown, min(", "return min(grown, min(", "Never sooner than the office asked."),
    ("pace-hour", "LONGEST_ASKED_SECONDS = 3600.0", "LONGEST_ASKED_SECONDS = 3601.0", "What is asked counts up to an hour."),
    ("pace-most", "min(rate_bytes * 2, MOST_BYTES)", "max(rate_bytes * 2, 2)", "A post never grows beyond what the office takes."),
    ("pace-least", "max(rate_bytes // 2, LEAST_BYTES)", "max(rate_bytes // 2, 0)", "A post never shrinks to nothing."),
)  # fmt: skip

_OF_TAKING = _changes(
    "domain/shore/taking.py",
    _BOUNDS,
    ("taking-own-step", "if step > schema)", "if step >= schema)", "What the ship's own step has done is not done again."),
    ("taking-order", "sorted(step for step in raisers if step > schema)",
     "sorted((step for step in raisers if step > schema), reverse=True)", "Steps raise rows in their order."),
)  # fmt: skip

_OF_PATCHES = _changes(
    "domain/shore/merge_patch.py",
    _PATCHES,
    ("patch-depth", "while depth <= most", "while depth < most", "A value deeper than the most is counted as deeper."),
    ("patch-true", "return json.dumps(one, sort_keys=True) == json.dumps(other, sort_keys=True)", "return bool(one == other)",
     "True is not 1."),
    ("patch-null", "merged.pop(name, None)", "merged[name] = None", "Null takes a member away."),
    ("patch-gone", "for name in was if name not in now}", "for name in was if name in now}", "A member that is gone is null."),
)  # fmt: skip

_OF_FRAMES = _changes(
    "domain/shore/frame.py",
    _FRAMES,
    ("frame-limit", "    if len(text) > limit_bytes:\n        raise BrokenBatch(BatchFault.TOO_LARGE)\n    if not whole",
     "    if len(text) >= limit_bytes:\n        raise BrokenBatch(BatchFault.TOO_LARGE)\n    if not whole",
     "A frame may become as much as the limit."),
    ("frame-zstd-limit", "_PIECE])\n        if len(text) > limit_bytes:", "_PIECE])\n        if len(text) >= limit_bytes:",
     "A frame of zstd may become as much as the limit."),
    ("frame-number", "len(changes) - 1 != head.ends", "len(changes) - 1 < head.ends", "No change more than the head says."),
    ("frame-number-less", "len(changes) - 1 != head.ends", "len(changes) - 1 > head.ends", "No change less than the head says."),
    ("frame-head", "(changes[-1].hash if changes else head.prev) != head.head", "changes and changes[-1].hash != head.head",
     "Without a change the chain ends as it began."),
    ("frame-from", 'head["from"] < 1 or', 'head["from"] < 0 or', "Changes are numbered from 1."),
    ("frame-to", 'head["to"] < head["from"] - 1', 'head["to"] < head["from"]', "A batch without changes is a batch."),
    ("frame-most", "0 <= one < 2**63", "0 <= one <= 2**63", "A number beyond what a database takes is refused."),
    ("frame-true", "type(one) is int and", "isinstance(one, int) and", "True is no number."),
    ("frame-line-feed", 'prev.encode("ascii") + b"\\n" + body', 'prev.encode("ascii") + body', "A line feed stands in the hash."),
    ("frame-behind", "stream.eof and not stream.unused_data", "stream.eof", "Nothing stands behind a frame of gzip."),
    ("frame-behind-zstd", "_PIECE >= len(frame) and not unpacker.unused_data", "_PIECE >= len(frame)",
     "Nothing stands behind a frame of zstd."),
)  # fmt: skip

_OF_SUMMARIES = _changes(
    "domain/feed/summary.py",
    _SUMMARIES,
    ("summary-28", "self.below_at < self.from_at + SHOWN", "self.below_at <= self.from_at + SHOWN",
     "From the 28th midnight on a plant is short later."),
    ("summary-days", "timedelta(days=28)", "timedelta(days=27)", "28 days are listed."),
    ("summary-most", "_MOST - min(many, _MOST)", "_MOST - many", "More than 999 count as 999."),
    ("summary-fold", "_FOLD = _MOST + 1", "_FOLD = _MOST", "999 of one do not weigh as one of what presses more."),
    ("summary-over", "if one.to_at > at)", "if one.to_at >= at)", "At its end a stretch is over."),
    ("summary-below", "one.margin_litres_per_h < 0)", "one.margin_litres_per_h <= 0)", "At the minimum is not below it."),
    ("summary-who", "role is self.role and not any(", "role is self.role or not any(", "Both role and person count."),
    ("summary-gathered", "(MatterCode.NON_CONFORMITY, MatterCode.NON_CONFORMITY_ANSWERED)", "(MatterCode.NON_CONFORMITY,)",
     "Those to be closed are gathered too."),
    ("summary-oldest", "one.matter.number))", "-one.matter.number))", "The oldest stands for all."),
    ("summary-clock", "ShipOffset(known.at(at),", "ShipOffset(self.clock_first,", "The clock is that of the instant."),
)  # fmt: skip

_OF_TASKS = _changes(
    "tasks.py",
    _TASKS,
    ("task-tries", "row.tries >= MOST_TRIES", "row.tries > MOST_TRIES", "Begun ten times it is given up."),
    ("task-busy", "count_try(session, *key, -1)", "count_try(session, *key, 0)", "A busy database is no try."),
    ("task-open", "if row is None or not row.open:", "if row is None:", "What nobody asked for anew is not done again."),
    ("task-number", "number = row.asked", "number = row.asked + 1", "What was asked for until it began is done."),
    ("task-own-end", "row.made < number", "row.made <= number", "How a task says it ended is not said over."),
)  # fmt: skip

_OF_PENDING = _changes(
    "storage/tasks.py",
    _PENDING,
    ("pending-nobody", " AND asked >= :number", "", "Nothing ends that was not asked for."),
    ("pending-late", "made <= :number AND", "made >= 0 AND", "An end that comes late changes nothing."),
    ("pending-first", "asked > pending_task.made THEN pending_task.asked_s", "asked >= pending_task.made THEN pending_task.asked_s",
     "Asked for anew it is open since then."),
    ("pending-tries", "tries + :more >= 0", "tries + :more > 0", "Given back it counts as not begun."),
    ("pending-asked-by", "row.asked_at <= asked_by", "row.asked_at < asked_by", "What was asked for just then counts."),
    ("pending-failed", "col(row.ended_at) >= since", "col(row.ended_at) > since", "What failed at the instant is listed."),
    ("pending-period", "(task, period) DO NOTHING", "(task, period) DO UPDATE SET ended_s = excluded.ended_s",
     "A period is one clock's."),
    ("pending-forget", "col(row.started_at) < before", "col(row.started_at) <= before", "What began at the instant is left."),
)  # fmt: skip

CHANGES = (
    *_OF_THE_LINE,
    *_OF_ASKING,
    *_OF_PACE,
    *_OF_TAKING,
    *_OF_PATCHES,
    *_OF_FRAMES,
    *_OF_SUMMARIES,
    *_OF_TASKS,
    *_OF_PENDING,
)
