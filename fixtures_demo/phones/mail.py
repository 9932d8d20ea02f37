"""In the demo a mail is read on its owner's phone, like everything else."""

from collections.abc import Sequence

from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend

from fixtures_demo.phones import exchange
from referrals import clock
from referrals.models import Staff


class PhoneMail(BaseEmailBackend):
    """Puts each mail on the phone of the person whose mailbox it is for."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        """Keep the mails; returns how many."""
        for mail in email_messages:
            for mailbox in mail.to:
                owner = Staff.objects.filter(email=mailbox).first()
                number = owner.phone.as_e164 if owner and owner.phone else mailbox[:40]
                key = f"{mail.extra_headers.get('Message-ID', '')}-{mailbox}"
                exchange.receive("mail", number, str(mail.body), key, clock.now())
        return len(email_messages)
