"""The desk's live stream: says that something changed, and that somebody is still there.

One poller a process and district reads the desk's signature about once a second and wakes every
open stream. A stream holds no database connection while it waits; the right to listen is looked
at again before every event, so the stream ends with the session.
"""

import asyncio
import logging
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from typing import TypeVar

from asgiref.sync import sync_to_async
from django.contrib.auth import get_user
from django.contrib.sessions.backends.db import SessionStore
from django.core.handlers.asgi import ASGIRequest
from django.db import DatabaseError, connections
from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse

from referrals import clock
from referrals.access import desk_district
from referrals.models import District, Staff
from referrals.sweeping import sweep_is_alive
from transport import desk

log = logging.getLogger(__name__)
POLL_SECONDS = 1.0
BEAT_SECONDS = 15.0
RETRY_MILLISECONDS = 3000
FRESH_SECONDS = 5.0
"""A beat is sent only if the database was read this recently: 'live' must be true."""

T = TypeVar("T")


@dataclass(eq=False)
class _Feed:
    """What one process knows of one district's desk, and who listens."""

    district_id: int
    signature: str = ""
    read_at: float = float("-inf")
    listeners: set[asyncio.Event] = field(default_factory=set)
    watcher: asyncio.Task[None] | None = None

    @property
    def is_fresh(self) -> bool:
        return asyncio.get_running_loop().time() - self.read_at < FRESH_SECONDS


_feeds: dict[tuple[asyncio.AbstractEventLoop, int], _Feed] = {}


async def stream(request: HttpRequest) -> HttpResponse | StreamingHttpResponse:
    """Server-sent events: ``changed`` with the desk's signature as id, ``beat`` every 15 s."""
    if not isinstance(request, ASGIRequest):
        # A worker without streams would never answer; the page then asks every 15 s instead.
        return HttpResponse(status=204)
    session_key, district_id = await sync_to_async(_admit)(request)
    seen = request.headers.get("Last-Event-ID") or request.GET.get("seen", "")
    response = StreamingHttpResponse(
        _events(session_key, district_id, seen), content_type="text/event-stream"
    )
    response["Cache-Control"] = "no-store"
    response["X-Accel-Buffering"] = "no"
    return response


def signature_now(district: District) -> str:
    """What the page was made from; the stream says ``changed`` when it is no longer true."""
    now = clock.now()
    alive = "" if sweep_is_alive(now) else "-no-sweep"
    return desk.signature(district, now) + alive


def _admit(request: HttpRequest) -> tuple[str, int]:
    try:
        district = desk_district(request.user) if isinstance(request.user, Staff) else None
        if district is None:
            raise Http404
        return request.session.session_key or "", district.pk
    finally:
        # This thread belongs to the request as long as the stream lives; its connection need not.
        connections.close_all()


async def _events(session_key: str, district_id: int, seen: str) -> AsyncIterator[str]:
    feed, news = _join(district_id)
    try:
        yield f"retry: {RETRY_MILLISECONDS}\n\n"
        while await _in_thread(_may_listen, session_key, district_id):
            news.clear()
            if feed.signature and feed.signature != seen:
                seen = feed.signature
                yield f"id: {seen}\nevent: changed\ndata: {seen}\n\n"
            elif feed.is_fresh:
                yield ": still here\nevent: beat\ndata: 1\n\n"
            await _wait(news)
    finally:
        _leave(feed, news)


async def _wait(news: asyncio.Event) -> None:
    try:
        await asyncio.wait_for(news.wait(), BEAT_SECONDS)
    except TimeoutError:
        return


def _join(district_id: int) -> tuple[_Feed, asyncio.Event]:
    key = (asyncio.get_running_loop(), district_id)
    feed = _feeds.setdefault(key, _Feed(district_id))
    news = asyncio.Event()
    feed.listeners.add(news)
    if feed.watcher is None:
        feed.watcher = asyncio.create_task(_watch(feed))
    return feed, news


def _leave(feed: _Feed, news: asyncio.Event) -> None:
    feed.listeners.discard(news)
    if not feed.listeners and feed.watcher:
        feed.watcher.cancel()
        feed.watcher = None
        _feeds.pop((asyncio.get_running_loop(), feed.district_id), None)


async def _watch(feed: _Feed) -> None:
    while True:
        try:
            signature = await _in_thread(_read_signature, feed.district_id)
        except DatabaseError as error:
            log.warning("the desk's signature could not be read: %s", error)
        else:
            feed.read_at = asyncio.get_running_loop().time()
            if signature != feed.signature:
                feed.signature = signature
                for news in feed.listeners:
                    news.set()
        await asyncio.sleep(POLL_SECONDS)


async def _in_thread(read: Callable[..., T], *arguments: object) -> T:
    """Run a reading in a thread of the pool and give its database connection back."""
    return await sync_to_async(_and_close, thread_sensitive=False)(read, *arguments)


def _and_close(read: Callable[..., T], *arguments: object) -> T:
    try:
        return read(*arguments)
    finally:
        connections.close_all()


def _read_signature(district_id: int) -> str:
    return signature_now(District.objects.get(pk=district_id))


def _may_listen(session_key: str, district_id: int) -> bool:
    """Whether the session still stands and its person still works at this desk."""
    request = HttpRequest()
    request.session = SessionStore(session_key)
    try:
        staff = get_user(request)
    except DatabaseError:
        # Access fails closed; the browser asks again by itself.
        return False
    if not isinstance(staff, Staff) or not staff.is_active:
        return False
    district = desk_district(staff)
    return district is not None and district.pk == district_id
