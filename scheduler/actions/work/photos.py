"""Photos of the work on a job: a file beside the database or a row in it, its SHA-256 in the record."""

import hashlib
import json
import logging
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any

from scheduler.actions.base.context import Answer, Context, Hand, hand_action
from scheduler.actions.plant_state.open_jobs import kind_of
from scheduler.actions.vessel.document import document_of, plant_of
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.due.last_done import JobId
from scheduler.domain.record.chain import Record
from scheduler.domain.record.period import PeriodEntry
from scheduler.domain.work.photos import ENDINGS, PHOTO
from scheduler.errors import NotFound, Refused, TooLarge
from scheduler.language import gettext
from scheduler.storage.database import Session
from scheduler.storage.photos import files
from scheduler.storage.photos.pictures import picture_taken_in
from scheduler.storage.photos.rows import keep_photo_row, photo_content
from scheduler.storage.record import append_record, record_rows
from scheduler.storage.vessel import vessel_ids

log = logging.getLogger("leadline")

MOST_PHOTOS = 40
"""A job."""
ORPHAN_AGE = timedelta(days=1)
_ONE_AT_A_TIME = threading.Lock()
"""Whose file it is that has to go when its record could not be written is sure only while nobody else keeps the same."""


def keep_photo(context: Context, hand: Hand, place: Place, job_id: JobId, *, content: bytes, text: str = "") -> Answer:
    """Keep a photo of a job, open or closed, without its position; the same picture twice is one file and one record.

    Raises:
        TooLarge: over the setting photo_limit_bytes. Refused: as `picture_taken_in`, or too many photos.
        NotFound: no such job. StorageFull: it cannot be written.
    """
    limit = context.settings.photo_limit_bytes
    if len(content) > limit:
        raise TooLarge(
            gettext(
                "The photo has {count} bytes: at most {limit} are taken. Make it smaller and send it again.",
                count=len(content),
                limit=limit,
            )
        )
    folder = folder_of(context, place.vessel_id)
    with context.db.read() as session:
        vessel, _ = document_of(session, place.vessel_id)
        kind_of(plant_of(vessel, place.plant_id), job_id)
    media, content = picture_taken_in(content)
    digest = hashlib.sha256(content).hexdigest()
    name = f"{digest}.{ENDINGS[media]}"

    def act(session: Session) -> Answer:
        vessel, _ = document_of(session, place.vessel_id)
        kind_of(plant_of(vessel, place.plant_id), job_id)
        before = _of_job(record_rows(session, place.vessel_id, kind=PHOTO), job_id.key)
        same = next((one for one in before if one["sha256"] == digest), None)
        if same is not None:
            return Answer(200, same)
        if len(before) >= MOST_PHOTOS:
            raise Refused(gettext("This job has {count} photos, which is the most.", count=len(before)))
        if folder is None:
            keep_photo_row(session, place.vessel_id, name, content, context.now())
        else:
            files.store_photo(folder, name, content)
        payload = {
            "job_no": job_id.key,
            "sha256": digest,
            "media_type": media,
            "bytes": len(content),
            "text": text.strip()[:200],
            "by": hand.actor.name,
        }
        number, _ = append_record(session, place.vessel_id, PHOTO, context.now(), payload)
        return Answer(201, {**payload, "record": number})

    if folder is None:
        return hand_action(context, hand, place.vessel_id, act)
    with _ONE_AT_A_TIME:
        there = files.has_photo(folder, name)
        try:
            return hand_action(context, hand, place.vessel_id, act)
        except BaseException:
            if not there:  # the record of it was undone
                files.remove_photo(folder, name)
            raise


def photos_of(context: Context, place: Place, job_id: JobId) -> list[dict[str, Any]]:
    """The photos of a job, in the order in which they were kept."""
    with context.db.read() as session:
        return _of_job(record_rows(session, place.vessel_id, kind=PHOTO), job_id.key)


def photo(context: Context, place: Place, job_id: JobId, digest: str) -> tuple[bytes, str]:
    """Content and media type of a kept photo.

    Raises:
        NotFound: the job has no such photo, or its content is gone or was changed since.
    """
    kept = next((one for one in photos_of(context, place, job_id) if one["sha256"] == digest), None)
    if kept is None:
        raise NotFound(gettext("This job has no such photo."))
    media = str(kept["media_type"])
    content = _content(context, place.vessel_id, f"{digest}.{ENDINGS[media]}")
    if content is None or hashlib.sha256(content).hexdigest() != digest:
        raise NotFound(
            gettext(
                "Photo {digest} is gone from where photos are kept, or is not the one that record {record} is about. Put "
                "it back from a copy.",
                digest=digest[:12],
                record=kept["record"],
            )
        )
    return content, media


MOST_ON_PAPER = 200


def job_photos(
    context: Context, vessel_id: str, photos: Mapping[str, Sequence[PeriodEntry]], each: int = 2
) -> Iterator[tuple[str, bytes]]:
    """(SHA-256, content) of photos by job, `each` of a job and `MOST_ON_PAPER` in all at most; files that are gone are left out."""
    chosen = [entry for entries in photos.values() for entry in entries[:each]]
    for entry in chosen[:MOST_ON_PAPER]:
        digest, media = entry.text("sha256"), entry.text("media_type")
        content = _content(context, vessel_id, f"{digest}.{ENDINGS[media]}") if media in ENDINGS else None
        if content is not None and hashlib.sha256(content).hexdigest() == digest:
            yield digest, content


def sweep_photos(context: Context) -> int:
    """Take away photos that no record names and that are over a day old: a power cut between file and record left them. How many."""
    before, many = (context.now() - ORPHAN_AGE).timestamp(), 0
    if folder_of(context, "") is None:
        return many  # rows stand or fall with their record
    with context.db.read() as session:
        vessels = vessel_ids(session)
    for vessel_id in vessels:
        folder = folder_of(context, vessel_id)
        if folder is None:
            continue
        with _ONE_AT_A_TIME:
            with context.db.read() as session:
                texts = [json.loads(one.text) for one in record_rows(session, vessel_id, kind=PHOTO)]
            wanted = {f"{one['sha256']}.{ENDINGS[one['media_type']]}" for one in texts}
            gone = files.remove_orphans(folder, wanted, before)
        many += len(gone)
        for name in gone:
            log.warning("photo %s of %s was removed: no record names it", name[:12], vessel_id)
    return many


def _content(context: Context, vessel_id: str, name: str) -> bytes | None:
    """A photo from its file, else from its row: either may be there from before photo_folder was set, or no longer was."""
    folder = folder_of(context, vessel_id)
    content = None if folder is None else files.read_photo(folder, name)
    if content is None:
        with context.db.read() as session:
            content = photo_content(session, vessel_id, name)
    return content


def folder_of(context: Context, vessel_id: str) -> Path | None:
    """The folder of a vessel's photos; none where they are rows: on PostgreSQL without the setting photo_folder."""
    root = files.photo_root(context.settings.photo_folder, context.db.path)
    return root and root / vessel_id


def _of_job(records: Iterable[Record], key: str) -> list[dict[str, Any]]:
    told = []
    for record in records:
        members = json.loads(record.text)
        if members["job_no"] == key:
            wanted = ("job_no", "sha256", "media_type", "text", "by")
            told.append(
                {**{name: members[name] for name in wanted}, "bytes": int(members["bytes"]), "record": record.number}
            )
    return told
