"""New alerts as messages for the outbox: mail to every address, a document for the command."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime

from stagecast.files.alerts import alerts_document
from stagecast.files.season import to_json
from stagecast.season.outbox import OutMessage, Post, Told, Way, message_id
from stagecast.season.settings.pest_names import folded
from stagecast.season.told import ToldAlerts
from stagecast.visits.season_day import SeasonDay
from stagecast.week.alerts import Alert
from stagecast.week.morning import morning_of
from stagecast.words.morning import mail_subject, mail_text, short_texts
from stagecast.words.week import file_text

POLICY = SMTP.clone(cte_type="7bit")
"""Lines end in CRLF, and every letter is one that any server takes (RFC 5321, RFC 2045)."""


def new_messages(
    season: SeasonDay, new: Sequence[Alert], told: ToldAlerts, post: Post, *, made_at: dt.datetime
) -> Iterator[OutMessage]:
    """What is to go out and is not in the outbox yet; each place hears of an alert once.

    Parameters
    ----------
    new: alerts that are to be told.
    told: what was told before them.
    made_at: with its time zone; stands in mail as its date.
    """
    mail, rules = season.settings.mail, season.settings.alerts
    for scout, address in () if mail is None else mail.to:
        fresh = _untold(new, told, post, "mail", address, season.as_of)
        if fresh and mail is not None:
            text = mail_message(
                season, fresh, sender=mail.sender, to=address, scout=scout, made_at=made_at
            )
            yield _message(season, "mail", address, fresh, text)
    fresh = _untold(new, told, post, "command", "", season.as_of) if rules.command else []
    if fresh:
        document = alerts_document(season, fresh, new={alert.key for alert in fresh})
        text = to_json({"id": _id(season, "command", "", fresh), **document})
        yield _message(season, "command", "", fresh, text)


def mail_message(
    season: SeasonDay,
    alerts: Sequence[Alert],
    *,
    sender: str,
    to: str,
    scout: str,
    made_at: dt.datetime,
) -> str:
    """A message of mail, in plain letters alone: the scout's day, or everybody's, and the alerts.

    References
    ----------
    RFC 5322 (2008), internet message format, https://www.rfc-editor.org/rfc/rfc5322; RFC 3834
    (2004), section 5, for Auto-Submitted, https://www.rfc-editor.org/rfc/rfc3834
    """
    days = short_texts(morning_of(season, None), alerts)
    mine = [(name, text) for name, text in days if not scout or folded(name) == folded(scout)]
    message = EmailMessage(policy=POLICY)
    message["From"] = sender
    message["To"] = to
    message["Date"] = format_datetime(made_at)
    id_ = _id(season, "mail", to, alerts)
    message["Message-ID"] = f"<{id_}.stagecast@{sender.rpartition('@')[2]}>"
    message["Auto-Submitted"] = "auto-generated"
    message["Subject"] = " ".join(file_text(mail_subject(season, alerts)).split())
    message.set_content(file_text(mail_text(mine, alerts)))
    return message.as_bytes().decode("ascii")


def _untold(
    new: Sequence[Alert], told: ToldAlerts, post: Post, way: Way, to: str, day: dt.date
) -> list[Alert]:
    keys = set(post.untold(new, told, way=way, to=to, day=day))
    return [alert for alert in new if alert.key in keys]


def _told(alerts: Sequence[Alert]) -> tuple[Told, ...]:
    return tuple((alert.key, alert.level) for alert in alerts)


def _id(season: SeasonDay, way: Way, to: str, alerts: Sequence[Alert]) -> str:
    year, day = season.settings.year, season.as_of
    return message_id(year=year, way=way, to=to, day=day, told=_told(alerts))


def _message(
    season: SeasonDay, way: Way, to: str, alerts: Sequence[Alert], text: str
) -> OutMessage:
    id_ = _id(season, way, to, alerts)
    return OutMessage(id=id_, way=way, to=to, day=season.as_of, told=_told(alerts), text=text)
