"""The least that could take readings in: Starlette, msgspec and psycopg, with the same durable insert, no sign-in.

It checks shapes only: no token, no survey, no chains of corrections, and lengths must be plain numbers.
"""

import asyncio
import contextlib
import hashlib
import os
from collections.abc import AsyncIterator
from datetime import datetime
from decimal import Decimal
from uuid import UUID

import msgspec
import psycopg
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

CONNECTIONS = 4

INSERT = """
INSERT INTO surveys_reading (id, survey_id, setup_id, point_id, shot, round, value_in, typed, unit,
  reference_value_in, reference_typed, taken_at, sequence, device, author_id, received_at, is_contested, reason,
  digest)
SELECT id, %s, setup_id, point_id, shot, round, value_in, value_in::text, 'in',
  0, '', taken_at, sequence, device, %s, now(), false, '', digest
FROM unnest(%s::uuid[], %s::uuid[], %s::uuid[], %s::text[], %s::int[], %s::numeric[], %s::timestamptz[], %s::int[],
  %s::text[], %s::bytea[])
  AS sent (id, setup_id, point_id, shot, round, value_in, taken_at, sequence, device, digest)
ON CONFLICT (id) DO NOTHING RETURNING id
"""


class Reading(msgspec.Struct):
    id: UUID
    setup: UUID
    point: UUID
    shot: str
    round: int
    value: Decimal
    taken_at: datetime
    sequence: int
    device: str


class Body(msgspec.Struct):
    readings: list[Reading]


decoder = msgspec.json.Decoder(Body)
idle: asyncio.Queue[psycopg.AsyncConnection] = asyncio.Queue()


def parameters(survey: str, body: Body) -> list[object]:
    """Return what the insert takes, a list a column."""
    sent = body.readings
    return [
        survey,
        os.environ["AUTHOR"],
        [one.id for one in sent],
        [one.setup for one in sent],
        [one.point for one in sent],
        [one.shot for one in sent],
        [one.round for one in sent],
        [one.value for one in sent],
        [one.taken_at for one in sent],
        [one.sequence for one in sent],
        [one.device for one in sent],
        [hashlib.sha256(one.id.bytes).digest() for one in sent],
    ]


async def take_in(request: Request) -> Response:
    body = decoder.decode(await request.body())
    connection = await idle.get()
    try:
        cursor = await connection.execute(INSERT, parameters(request.path_params["survey"], body))
        stored = len(await cursor.fetchall())
    finally:
        idle.put_nowait(connection)
    return Response(msgspec.json.encode({"received": stored}), media_type="application/json")


@contextlib.asynccontextmanager
async def connections(_: Starlette) -> AsyncIterator[None]:
    for _number in range(CONNECTIONS):
        idle.put_nowait(await psycopg.AsyncConnection.connect(os.environ["DATABASE_URL"], autocommit=True))
    yield
    while not idle.empty():
        await idle.get_nowait().close()


app = Starlette(routes=[Route("/surveys/{survey}/readings/", take_in, methods=["POST"])], lifespan=connections)
