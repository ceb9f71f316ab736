"""What somebody writes with a client generated from /openapi.json: readings posted, due jobs read, one closed. Run as a script.

mypy runs over it in strict mode, so what it reads has the types that the description says.
"""

import datetime
import sys

from leadline_client import AuthenticatedClient
from leadline_client.api.plant import get_due
from leadline_client.api.readings import post_readings
from leadline_client.api.work import close_job
from leadline_client.models import (
    CloseBody,
    DueAnswer,
    DueJobAnswer,
    JobClosedAnswer,
    ProblemDocument,
    ReadingBody,
    ReadingsAnswer,
    ReadingsBody,
    Test,
)


def main(url: str, counter_key: str, engineer_key: str, plant: str, counter: str, at: datetime.datetime) -> None:
    gateway, engineer = (AuthenticatedClient(base_url=url, token=key) for key in (counter_key, engineer_key))

    reading = ReadingBody(counter=counter, observed_at=at, value=12_006.0)
    posted = post_readings.sync(client=gateway, body=ReadingsBody(readings=[reading]))
    assert isinstance(posted, ReadingsAnswer), posted
    statuses: list[str] = [item.status for item in posted.items]
    print("posted", *statuses)

    due = get_due.sync(plant, client=engineer)
    assert isinstance(due, DueAnswer), due
    job: DueJobAnswer = next(one for one in due.jobs if one.kind == "alarm_test")
    print("due", job.job, job.name)

    body = CloseBody(done_at=at, done_by="Demo Hand", test=Test.PASSED)
    closed = close_job.sync(job.job, client=engineer, body=body, idempotency_key="typed 1")
    assert isinstance(closed, JobClosedAnswer), closed
    record: int = closed.record
    print("closed", closed.job, closed.closed, record > 0)

    again = close_job.sync(job.job, client=engineer, body=body, idempotency_key="typed 2")
    assert isinstance(again, ProblemDocument), again
    status: int = again.status
    print("refused", status)


if __name__ == "__main__":
    server, first_key, second_key, of_plant, of_counter, now = sys.argv[1:]
    main(server, first_key, second_key, of_plant, of_counter, datetime.datetime.fromisoformat(now))
