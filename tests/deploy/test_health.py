"""The page a monitor asks."""

import time

import pytest

from deploy import health
from deploy.celery import HEART_KEY, beat_heart, redis_client

pytestmark = pytest.mark.django_db


@pytest.fixture
def no_heart():
    with redis_client() as client:
        client.delete(HEART_KEY)
        yield client
        client.delete(HEART_KEY)


def test_health_needs_no_sign_in_and_is_well_after_a_heartbeat(client, no_heart):
    beat_heart()
    answer = client.get("/health/")
    assert answer.status_code == 200
    assert answer.json()["parts"]["database"] == "answers"


def test_health_is_not_well_without_a_heartbeat(client, no_heart):
    answer = client.get("/health/")
    assert answer.status_code == 503
    assert answer.json()["parts"]["tasks"] == "no heartbeat yet"


def test_an_old_heartbeat_counts_as_stopped(no_heart):
    beat_heart()
    assert health.tasks(now=time.time()).well
    assert not health.tasks(now=time.time() + health.HEART_STOPS_AFTER + 5).well


def test_health_says_when_redis_does_not_answer(client, settings):
    settings.REDIS = type(settings.REDIS)("unix:///nowhere/redis.sock?db=0", "")
    answer = client.get("/health/")
    assert answer.status_code == 503
    assert answer.json()["parts"]["redis"] == "does not answer"
