"""What the hours say, and answers to it."""

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.shared.command import Output, command, hand, plant_place
from api.commands.shared.groups import app, group
from api.commands.shared.options import DAY, PlantId, one_of

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context

sign_app = group("sign", "Answers to what the hours say.", "sign answer avocet-plant 1 --cause leak")
CAUSES = ("leak", "valve", "pump", "control", "guests", "route", "other", "nothing")

Number = Annotated[int, typer.Argument(help="number of the sign, as `leadline signs` shows it")]


@command(app)
def signs(context: "Context", plant: PlantId) -> Output:
    """Show what the hours say of a plant: a leak, a pump that needs longer, or why nothing can be said.

    Example: leadline signs avocet-plant
    """
    from api.routes.answers.signs import SignsAnswer
    from scheduler.actions.due.sooner import days_sooner
    from scheduler.actions.hours.signs import folded_plant
    from scheduler.actions.plant_state.load import plant_state
    from scheduler.wording.figures import inner
    from scheduler.wording.signs import signs_lines, sooner_words

    place = plant_place(context, plant)
    folded = folded_plant(context, place.vessel_id, place.id)
    found = folded.facts()
    names = {position.id: position.name for position in folded.plant.positions}
    lines = list(signs_lines(found, names))
    sooner = None
    if found.plant_sign is not None:
        now = plant_state(context, place.vessel_id, place.id)
        sooner = days_sooner(context, now, found.plant_sign)
        if sooner is not None:
            lines.append(sooner_words(inner(sooner.job.kind_name), now.position_name(sooner.job.position), sooner.days))
        lines.append(f"Answer it: leadline sign answer {plant} {found.plant_sign.number} --cause leak")
    return Output(SignsAnswer.of(folded, sooner).plain(), lines)


@command(sign_app, "answer")
def answer(
    context: "Context",
    plant: PlantId,
    number: Number,
    cause: Annotated[str, typer.Option(help="what it was", parser=one_of(*CAUSES))],
    text: Annotated[str, typer.Option(help="in your words")] = "",
    until: Annotated[date | None, typer.Option(help="last day of a known cause (default: for good)", **DAY)] = None,
) -> Output:
    """Answer a sign: found and mended, known, or nothing found.

    Example: leadline sign answer avocet-plant 1 --cause leak --text "flush valve, cabin 204"
    """
    from scheduler.actions.hours.sign_answers import AnswerAsked, answer_sign

    asked = AnswerAsked(cause=cause, text=text, until_on=until)
    words = {"answer": plant, "number": number, "cause": cause, "text": text, "until": until}
    done = answer_sign(context, hand(context, words), plant_place(context, plant), number, asked)
    return Output(dict(done.body), [f"Sign {number} answered: {done.body['answer']}, record {done.body['record']}."])


@command(sign_app, "undo")
def undo(
    context: "Context",
    plant: PlantId,
    number: Number,
    reason: Annotated[str, typer.Option(help="why; it stays in the record")],
) -> Output:
    """Take the answer to a sign back, once; both stay on record.

    Example: leadline sign undo avocet-plant 1 --reason "it was not that valve"
    """
    from scheduler.actions.hours.sign_answers import undo_sign_answer

    words = {"undo": plant, "number": number, "reason": reason}
    done = undo_sign_answer(context, hand(context, words), plant_place(context, plant), number, reason)
    return Output(dict(done.body), [f"The answer to sign {number} was taken back, record {done.body['record']}."])
