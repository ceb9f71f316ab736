"""Photos of the work on a job."""

from hashlib import sha256
from typing import Annotated, Any

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import JSONResponse, Response

from api.server.deps import AskingDep, ContextDep, hand_of
from scheduler.actions.work import jobs, photos

router = APIRouter()
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; sandbox",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "private, max-age=31536000, immutable",
    "Cross-Origin-Resource-Policy": "same-origin",
}


@router.post("/api/v1/jobs/{key}/photos", status_code=201, tags=["work"], summary="A photo of the work on a job")
def keep(
    key: str,
    context: ContextDep,
    who: AskingDep,
    request: Request,
    photo: Annotated[UploadFile, File(description="JPEG, PNG or WebP, told by its content")],
    text: Annotated[str, Form(max_length=200)] = "",
) -> JSONResponse:
    """Kept beside the database under its SHA-256, which is on record; the same picture twice is one."""
    place, job_id = jobs.job_place(context, who.actor, key)
    content = photo.file.read()
    hand = hand_of(request, who, {"text": text, "sha256": sha256(content).hexdigest()})
    answer = photos.keep_photo(context, hand, place, job_id, content=content, text=text)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.get("/api/v1/jobs/{key}/photos", tags=["work"], summary="The photos of a job")
def job_photos(key: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Each with its SHA-256, size, words and record."""
    place, job_id = jobs.job_place(context, who.actor, key)
    return {"job": key, "photos": photos.photos_of(context, place, job_id)}


@router.get("/api/v1/jobs/{key}/photos/{digest}", tags=["work"], summary="One photo", response_class=Response)
def one(key: str, digest: str, context: ContextDep, who: AskingDep) -> Response:
    """The picture, when its content is still what the record says."""
    place, job_id = jobs.job_place(context, who.actor, key)
    content, media = photos.photo(context, place, job_id, digest)
    return Response(content, media_type=media, headers=HEADERS)
