"""Work by API: jobs and their steps, parts, photos, points, clogs, handover, review, non-conformities."""

from hashlib import sha256
from operator import itemgetter
from typing import Annotated

from fastapi import APIRouter, File, Form, UploadFile
from fastapi.responses import Response

from api.routes.answers import work as answers
from api.routes.answers.handover import (
    HandoversAnswer,
    HandoverSignedAnswer,
    HandoverWrittenAnswer,
    ReviewsAnswer,
    ReviewSignedAnswer,
)
from api.routes.bodies import work as bodies
from api.routes.shared.bodies import CloseBody, WorkStepBody
from api.routes.shared.calls import HandCallDep, SeenCallDep
from api.routes.shared.describing import StateTag
from api.routes.shared.paging import NumberedPagesDep
from api.routes.shared.problems import JsonRoute
from api.server.deps import AskingDep, ContextDep, Number
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.actions.work import (
    breakdown,
    checking,
    closing,
    closing_checks,
    handover,
    jobs,
    nonconformities,
    parts,
    photos,
    points,
    steps,
)
from scheduler.errors import NotFound
from scheduler.storage.vessel import AssetKind

router = APIRouter(route_class=JsonRoute)


@router.get("/api/v1/jobs/{key}", tags=["work"], summary="One job")
def get_job(key: str, context: ContextDep, who: AskingDep) -> answers.OpenJobAnswer | answers.ClosedJobAnswer:
    """An open or coming turn as in the due list, with what its sheet asks for and what else falls due on its isolation; a
    closed one as recorded."""
    place, job_id = jobs.job_place(context, who.actor, key)
    now = plant_state(context, place.vessel_id, place.plant_id)
    job = now.job(key)
    if job is not None:
        return answers.OpenJobAnswer.of(now, job)
    closed = jobs.closed_job(context, place, job_id)
    if closed is None:
        raise NotFound(f"There is no job {key} in the plan's horizon. The due list shows those that are.")
    return answers.ClosedJobAnswer.model_validate(closed)


@router.post("/api/v1/jobs/{key}/close", tags=["work"], summary="Close a job")
def close_job(key: str, call: SeenCallDep, body: CloseBody) -> answers.JobClosedAnswer:
    """A failed test is recorded and leaves the job open, its pump counting nothing. Without a test the pump is not proved.
    If-Match, where it is sent: the version of the work that was looked at; 412 with the newer steps when it has gone on."""
    place, job_id = jobs.job_place(call.context, call.actor, key)
    told = closing_checks.Close(**body.model_dump())
    answer = closing.close_job(call.context, call.hand(body), place, job_id, told, if_match=call.version())
    return call.answered(answers.JobClosedAnswer, answer)


@router.post("/api/v1/jobs/{key}/check", tags=["work"], summary="Sign a closed job as checked")
def check_job(key: str, call: HandCallDep) -> answers.JobCheckedAnswer:
    """By the person who was asked, in the own sign-in or with the own key; never by who did it."""
    place, job_id = jobs.job_place(call.context, call.actor, key)
    answer = checking.check_job(call.context, call.hand({"check": key}), place, job_id)
    return call.answered(answers.JobCheckedAnswer, answer)


@router.post("/api/v1/jobs/{key}/close/strike", tags=["work"], summary="Strike a close entered by mistake")
def strike_close(key: str, call: HandCallDep, body: bodies.StrikeBody) -> answers.CloseStruckAnswer:
    """Within ten minutes, by who recorded it, while nobody acted on it. The pump stands as returned, not proved: go and look."""
    place, job_id = jobs.job_place(call.context, call.actor, key)
    answer = checking.strike_close(call.context, call.hand(body), place, job_id, body.reason)
    return call.answered(answers.CloseStruckAnswer, answer)


@router.get("/api/v1/jobs/{key}/work", tags=["work"], summary="How far the work on a job is")
def get_work(
    key: str, context: ContextDep, who: AskingDep, response: Annotated[Response, StateTag()]
) -> answers.WorkAnswer:
    """Permits, tags that hang, what the pump counts for, and every step as kept, with what stood against it. The ETag is
    the version of the work, for If-Match."""
    place, job_id = jobs.job_place(context, who.actor, key)
    told = steps.work_on(context, place, job_id)
    response.headers["ETag"] = f'"{told["version"]}"'
    return answers.WorkAnswer.model_validate({"job": key, **told})


@router.post(
    "/api/v1/jobs/{key}/steps",
    status_code=201,
    tags=["work"],
    summary="A step of the work on a job",
)
def take_step(key: str, call: SeenCallDep, body: WorkStepBody) -> answers.StepTakenAnswer:
    """Permit, tag, gas check, opened, note, tag off, returned, test, report. Asked, it is refused where a rule stands
    against it (409, with the times that hold where the minimum would break); told as a fact, it is kept and flagged.
    If-Match, where it is sent: the version of the work that was looked at; 412 with the newer steps when it has gone on."""
    place, job_id = jobs.job_place(call.context, call.actor, key)
    answer = steps.take_step(
        call.context, call.hand(body), place, job_id, body.step, fact=body.fact, if_match=call.version()
    )
    return call.answered(answers.StepTakenAnswer, answer, etag=True)


@router.get("/api/v1/vessels/{vessel_id}/non-conformities", tags=["work"], summary="A vessel's non-conformities")
def nonconformities_listed(
    vessel_id: str, context: ContextDep, who: AskingDep, pages: NumberedPagesDep
) -> answers.NonConformitiesAnswer:
    """Newest first. One is opened for each job past its limit without a postponement that holds."""
    fleet.get_vessel(context, who.actor, vessel_id)
    rows = nonconformities.nonconformities_listed(context, vessel_id, pages.asked)
    found = pages.shown(rows, itemgetter("non_conformity"))
    return answers.NonConformitiesAnswer.model_validate({"vessel": vessel_id, "non_conformities": found})


@router.post(
    "/api/v1/vessels/{vessel_id}/non-conformities/{number}/answer", tags=["work"], summary="Answer a non-conformity"
)
def answer_nonconformity(
    vessel_id: str, number: Number, call: HandCallDep, body: bodies.CauseBody
) -> answers.NonConformityAnswer:
    """Its cause, and the corrective action."""
    call.must_reach_vessel(vessel_id)
    answer = nonconformities.answer_nonconformity(
        call.context, call.hand(body), vessel_id, number, cause=body.cause, corrective_action=body.corrective_action
    )
    return call.answered(answers.NonConformityAnswer, answer)


@router.post(
    "/api/v1/vessels/{vessel_id}/non-conformities/{number}/close", tags=["work"], summary="Close a non-conformity"
)
def close_nonconformity(vessel_id: str, number: Number, call: HandCallDep) -> answers.NonConformityAnswer:
    """By the chief engineer or the office, not by the one who answered."""
    call.must_reach_vessel(vessel_id)
    answer = nonconformities.close_nonconformity(call.context, call.hand({}), vessel_id, number)
    return call.answered(answers.NonConformityAnswer, answer)


@router.get("/api/v1/plants/{plant_id}/parts", tags=["work"], summary="Parts needed and aboard")
def part_counts(plant_id: str, context: ContextDep, who: AskingDep) -> answers.PartsAnswer:
    """Every part that a job sheet names, with how many are aboard; none where nobody has counted yet."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    return answers.PartsAnswer.model_validate({"plant": plant_id, "parts": parts.parts_of(context, place)})


@router.post("/api/v1/plants/{plant_id}/parts", tags=["work"], summary="A part was counted")
def count_part(plant_id: str, call: HandCallDep, body: bodies.PartBody) -> answers.PartCountedAnswer:
    """How many are aboard; a note of a used part takes from it."""
    place = call.place(AssetKind.PLANT, plant_id)
    answer = parts.count_part(call.context, call.hand(body), place, name=body.name, aboard=body.aboard)
    return call.answered(answers.PartCountedAnswer, answer)


HEADERS = {
    "Content-Security-Policy": "default-src 'none'; sandbox",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "private, max-age=31536000, immutable",
    "Cross-Origin-Resource-Policy": "same-origin",
}


@router.post(
    "/api/v1/jobs/{key}/photos",
    responses={200: {"model": answers.PhotoAnswer, "description": "It is there already."}},
    status_code=201,
    tags=["work"],
    summary="A photo of the work on a job",
)
def keep_photo(
    key: str,
    call: HandCallDep,
    photo: Annotated[UploadFile, File(description="JPEG, PNG or WebP, told by its content")],
    text: Annotated[str, Form(max_length=200)] = "",
) -> answers.PhotoAnswer:
    """Kept beside the database under its SHA-256, which is on record; the same picture twice is one."""
    place, job_id = jobs.job_place(call.context, call.actor, key)
    content = photo.file.read()
    answer = photos.keep_photo(
        call.context,
        call.hand({"text": text, "sha256": sha256(content).hexdigest()}),
        place,
        job_id,
        content=content,
        text=text,
    )
    return call.answered(answers.PhotoAnswer, answer)


@router.get("/api/v1/jobs/{key}/photos", tags=["work"], summary="The photos of a job")
def job_photos(key: str, context: ContextDep, who: AskingDep, pages: NumberedPagesDep) -> answers.PhotosAnswer:
    """Each with its SHA-256, size, words and record."""
    place, job_id = jobs.job_place(context, who.actor, key)
    found = pages.shown_of_all(photos.photos_of(context, place, job_id), itemgetter("record"))
    return answers.PhotosAnswer.model_validate({"job": key, "photos": found})


PICTURES = {
    media: {"schema": {"type": "string", "format": "binary"}} for media in ("image/jpeg", "image/png", "image/webp")
}


@router.get(
    "/api/v1/jobs/{key}/photos/{digest}",
    tags=["work"],
    summary="One photo",
    response_class=Response,
    responses={200: {"content": PICTURES}},
)
def photo(key: str, digest: str, context: ContextDep, who: AskingDep) -> Response:
    """The picture, when its content is still what the record says."""
    place, job_id = jobs.job_place(context, who.actor, key)
    content, media = photos.photo(context, place, job_id, digest)
    return Response(content, media_type=media, headers=HEADERS)


@router.get("/api/v1/pumps/{pump_id}/points", tags=["work"], summary="Points said to be not fitted")
def points_not_fitted(
    pump_id: str, context: ContextDep, who: AskingDep, pages: NumberedPagesDep
) -> answers.PointsNotFittedAnswer:
    """Newest first, with who said and who signed."""
    place = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)
    found = pages.shown(points.points_listed(context, place, pages.asked), itemgetter("not_fitted"))
    return answers.PointsNotFittedAnswer.model_validate({"pump": pump_id, "not_fitted": found})


@router.post("/api/v1/pumps/{pump_id}/points", status_code=201, tags=["work"], summary="Say that a point is not fitted")
def say_not_fitted(pump_id: str, call: HandCallDep, body: bodies.NotFittedBody) -> answers.PointNotFittedAnswer:
    """Beforehand, with a reason. It counts once office or master has signed, from the next day on; never the supply breaker."""
    place = call.place(AssetKind.PUMP, pump_id)
    answer = points.say_not_fitted(call.context, call.hand(body), place, body.point, body.reason)
    return call.answered(answers.PointNotFittedAnswer, answer)


@router.post("/api/v1/pumps/{pump_id}/points/{number}/signature", tags=["work"], summary="Sign a point as not fitted")
def sign_point(
    pump_id: str, number: Number, call: HandCallDep, body: bodies.NotFittedSignatureBody
) -> answers.PointNotFittedAnswer:
    """As office or as master, by a person with that role; not by who said it."""
    place = call.place(AssetKind.PUMP, pump_id)
    answer = points.sign_not_fitted(call.context, call.hand(body), place, number, as_=body.as_)
    return call.answered(answers.PointNotFittedAnswer, answer)


@router.post(
    "/api/v1/pumps/{pump_id}/points/{number}/withdrawal", tags=["work"], summary="Take a point not fitted back"
)
def withdraw_point(pump_id: str, number: Number, call: HandCallDep) -> answers.PointNotFittedAnswer:
    """From then on the point is asked for again."""
    place = call.place(AssetKind.PUMP, pump_id)
    answer = points.withdraw_not_fitted(call.context, call.hand({}), place, number)
    return call.answered(answers.PointNotFittedAnswer, answer)


@router.get("/api/v1/vessels/{vessel_id}/clogs", tags=["work"], summary="Clogs noted")
def clogs(vessel_id: str, context: ContextDep, who: AskingDep, pages: NumberedPagesDep) -> answers.ClogsAnswer:
    """Newest first: what it was, riser, deck."""
    fleet.get_vessel(context, who.actor, vessel_id)
    found = pages.shown(breakdown.clogs_of(context, vessel_id, pages.asked), itemgetter("record"))
    return answers.ClogsAnswer.model_validate({"vessel": vessel_id, "clogs": found})


@router.post("/api/v1/vessels/{vessel_id}/clogs", status_code=201, tags=["work"], summary="A clog was cleared")
def note_clog(vessel_id: str, call: HandCallDep, body: bodies.ClogBody) -> answers.NotedAnswer:
    """What it was, on which riser or deck; it needs no job and is a record."""
    call.must_reach_vessel(vessel_id)
    answer = breakdown.note_clog(
        call.context,
        call.hand(body),
        vessel_id,
        at=body.at,
        object_found=body.object,
        riser=body.riser,
        deck=body.deck,
        text=body.text,
    )
    return call.answered(answers.NotedAnswer, answer)


@router.get("/api/v1/vessels/{vessel_id}/handovers", tags=["work"], summary="Handover notes")
def handovers(vessel_id: str, context: ContextDep, who: AskingDep, pages: NumberedPagesDep) -> HandoversAnswer:
    """Newest first, with who wrote and who signed."""
    fleet.get_vessel(context, who.actor, vessel_id)
    found = pages.shown(handover.handovers_of(context, vessel_id, pages.asked), itemgetter("handover"))
    return HandoversAnswer.model_validate({"vessel": vessel_id, "handovers": found})


@router.post("/api/v1/vessels/{vessel_id}/handovers", status_code=201, tags=["work"], summary="Write a handover note")
def write_handover(vessel_id: str, call: HandCallDep, body: bodies.HandoverBody) -> HandoverWrittenAnswer:
    """Signed by who writes it; another person signs it after."""
    call.must_reach_vessel(vessel_id)
    answer = handover.write_handover(call.context, call.hand(body), vessel_id, body.text)
    return call.answered(HandoverWrittenAnswer, answer)


@router.post("/api/v1/vessels/{vessel_id}/handovers/{number}/signature", tags=["work"], summary="Sign a handover note")
def sign_handover(
    vessel_id: str, number: Number, call: HandCallDep, body: bodies.HandoverSignatureBody | None = None
) -> HandoverSignedAnswer:
    """By the one who takes over, not by who wrote it; names every point that is locked and tagged, looked at by both."""
    call.must_reach_vessel(vessel_id)
    looked_at = [f"{one.job}|{one.point}|{one.tag_no}" for one in body.looked_at] if body else []
    hand = call.hand(body if body and body.looked_at else {})
    answer = handover.sign_handover(call.context, hand, vessel_id, number, looked_at)
    return call.answered(HandoverSignedAnswer, answer)


@router.get("/api/v1/vessels/{vessel_id}/reviews", tags=["work"], summary="Monthly reviews")
def reviews(vessel_id: str, context: ContextDep, who: AskingDep, pages: NumberedPagesDep) -> ReviewsAnswer:
    """Newest first."""
    fleet.get_vessel(context, who.actor, vessel_id)
    found = pages.shown(handover.reviews_of(context, vessel_id, pages.asked), itemgetter("record"))
    return ReviewsAnswer.model_validate({"vessel": vessel_id, "reviews": found})


@router.post(
    "/api/v1/vessels/{vessel_id}/reviews", status_code=201, tags=["work"], summary="Sign the review of a month"
)
def sign_review(vessel_id: str, call: HandCallDep, body: bodies.ReviewBody) -> ReviewSignedAnswer:
    """By the chief engineer, for a month that is over, once."""
    call.must_reach_vessel(vessel_id)
    answer = handover.sign_review(call.context, call.hand(body), vessel_id, body.month, body.text)
    return call.answered(ReviewSignedAnswer, answer)
