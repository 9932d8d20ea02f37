"""The published schema is valid, complete and true: generated calls get documented answers."""

import contextlib
import itertools
from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

import hypothesis
import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from schemathesis.checks import load_all_checks
from schemathesis.core.control import SkipTest
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from referrals.api.errors import PROBLEM_TYPE
from referrals.models import Alert, District, Unit
from referrals.project.wsgi import application
from tests import world
from tests.api_world import Device, device_of, driver_device
from transport.calc.stages import TransferStage

load_all_checks()
CHECKS = [
    schemathesis.checks.not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
EXAMPLES = 6


@pytest.fixture(autouse=True)
def _connection_stays_open() -> Iterator[None]:
    """The served application closes old connections; the test's own one holds its transaction."""
    signals = (request_started, request_finished)
    for signal in signals:
        signal.disconnect(close_old_connections)
    yield
    for signal in signals:
        signal.connect(close_old_connections)


@pytest.fixture
def schema(db: None) -> dict[str, Any]:
    return Device().get("schema/").json()


def test_the_schema_is_valid_and_needs_no_sign_in(schema: dict[str, Any]) -> None:
    from drf_spectacular.validation import validate_schema

    validate_schema(schema)
    assert schema["openapi"].startswith("3.1")


def test_every_operation_documents_its_problems(schema: dict[str, Any]) -> None:
    for path, operations in schema["paths"].items():
        for method, operation in operations.items():
            for status in ("400", "401", "403", "404", "409", "422", "500", "503"):
                answer = operation["responses"][status]
                assert set(answer["content"]) == {PROBLEM_TYPE}, (method, path)


def test_every_post_of_a_person_needs_a_key(schema: dict[str, Any]) -> None:
    posts = {
        path: {each["name"] for each in operations["post"].get("parameters", [])}
        for path, operations in schema["paths"].items()
        if "post" in operations
    }
    without = {path for path, names in posts.items() if "Idempotency-Key" not in names}
    machines = {f"/api/v1/inbound/{name}/" for name in ("sms", "missed_calls", "reports")}
    assert without == {"/api/v1/transfers/{id}/positions/", *machines}


def test_operations_have_names_of_their_own(schema: dict[str, Any]) -> None:
    names = [
        operation["operationId"]
        for operations in schema["paths"].values()
        for operation in operations.values()
    ]
    assert len(names) == len(set(names))


@pytest.fixture
def numbers(district: District, intensive: Unit, ward: Unit, now: datetime) -> dict[str, Any]:
    """A journey on the road, so that generated calls find something there."""
    transfer = world.a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    waiting = world.a_referral(now, attendant="mei.corrowan")
    offer = world.an_offer(waiting, ward, now)
    return {
        "code": transfer.referral.code,
        "transfer": transfer,
        "need": transfer.referral.needs.filter(superseded_at=None).first().pk,
        "offer": offer.pk,
        "alert": Alert.objects.get(offer=offer, kind="question").pk,
    }


def _real(numbers: dict[str, Any], path: str) -> dict[str, Any]:
    """What stands in an address for something that exists."""
    if "/offers/{" in path:
        return {"id": numbers["offer"]}
    if "/alerts/{" in path:
        return {"id": numbers["alert"]}
    if "/transfers/{" in path:
        return {"id": numbers["transfer"].pk}
    if "/units/{" in path:
        return {"code": "ORL-NB"}
    if "/vehicles/{" in path:
        return {"code": "AMB-1"}
    return {"code": numbers["code"], "birth_order": 1, "id": numbers["need"]}


@pytest.mark.parametrize("caller", ["desk", "driver"])
@pytest.mark.parametrize(
    "mode", [schemathesis.GenerationMode.POSITIVE, schemathesis.GenerationMode.NEGATIVE]
)
def test_generated_calls_get_documented_answers_only(
    numbers: dict[str, Any], caller: str, mode: Any
) -> None:
    device = (
        device_of("leena.morrastad") if caller == "desk" else driver_device(numbers["transfer"])
    )
    authorization = device.client.defaults["HTTP_AUTHORIZATION"]
    published = schemathesis.openapi.from_wsgi("/api/v1/schema/", application)
    published.config.generation.update(modes=[mode])
    keys = itertools.count()
    seen: dict[str, list[int]] = {}

    for found in published.get_all_operations():
        operation = found.ok()
        if caller == "driver" and "/transfers/" not in operation.path:
            continue
        statuses: list[int] = []
        call = _caller(numbers, operation.path, authorization, keys, statuses)
        # An operation without parameters and body has nothing to get wrong.
        with contextlib.suppress(SkipTest):
            _try(operation, mode, call)
        seen[operation.label] = statuses
    assert sum(map(len, seen.values())) >= 30
    if mode is schemathesis.GenerationMode.POSITIVE:
        assert {200, 201} <= {status for statuses in seen.values() for status in statuses}


def _caller(
    numbers: dict[str, Any], path: str, authorization: str, keys: Any, statuses: list[int]
) -> Callable[[Any], None]:
    def call(case: Any) -> None:
        # Generated names never exist: real ones take the calls past the first look-up.
        real = _real(numbers, path)
        case.path_parameters = {
            name: real.get(name, value) for name, value in (case.path_parameters or {}).items()
        }
        case.headers = {"Idempotency-Key": f"generated-{next(keys)}"}
        with transaction.atomic():
            response = case.call(headers={"Authorization": authorization})
            transaction.set_rollback(True)
        statuses.append(response.status_code)
        case.validate_response(response, checks=CHECKS)

    return call


def _try(operation: Any, mode: Any, call: Callable[[Any], None]) -> None:
    @hypothesis.settings(
        max_examples=EXAMPLES,
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(hypothesis.HealthCheck),
        phases=[hypothesis.Phase.generate],
    )
    @hypothesis.given(case=operation.as_strategy(generation_mode=mode))
    def generated(case: Any) -> None:
        call(case)

    generated()
