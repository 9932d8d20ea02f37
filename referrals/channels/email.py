"""E-mail over SMTP: the last rung, never the only one."""

import smtplib

from django.core.mail import EmailMessage
from django.utils.translation import gettext as _

from referrals.channels.base import Message, Refused, TryLater


class Email:
    """Sends through the mail server named in the settings."""

    def send(self, message: Message) -> str:
        """Hand the message to the mail server; see ``Channel.send``."""
        if not message.to:
            raise Refused(_("no mailbox is known for this contact"))
        mail = EmailMessage(
            subject=message.subject,
            body=message.text,
            to=[message.to],
            headers={"Message-ID": f"<{message.key}@littleroad>"},
        )
        try:
            mail.send()
        except smtplib.SMTPRecipientsRefused as error:
            codes = {code for code, _ in error.recipients.values()}
            if all(code >= 500 for code in codes):
                raise Refused(_("the mail server refused the mailbox (%s)") % codes) from error
            raise TryLater(_("the mail server put the mailbox off (%s)") % codes) from error
        except (smtplib.SMTPException, OSError) as error:
            raise TryLater(f"{type(error).__name__}: {error}"[:200]) from error
        return message.key
