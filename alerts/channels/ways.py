"""Every channel that the settings describe, ready to send."""

from alerts.channels.apprise_way import AppriseChannel, is_target
from alerts.channels.base import Channel
from alerts.channels.email import EmailChannel, MailServer
from alerts.channels.webhook import Hook, WebhookChannel
from collector.settings_reach import ReachSettings, SmtpSettings, WaysSettings, signing_key
from collector.toml_faults import Fault


def channels_of(settings: WaysSettings) -> dict[str, Channel]:
    """Return the channels by the names under which `WaysSettings.reach_order` gives them."""
    return {name: _channel(people, settings) for name, people in settings.by_channel().items()}


def _channel(people: dict[str, ReachSettings], settings: WaysSettings) -> Channel:
    addresses = {person: entry.address.get_secret_value() for person, entry in people.items()}
    kind = next(iter(people.values())).channel
    if kind == "webhook":
        return WebhookChannel({person: _hook(entry) for person, entry in people.items()}, settings.sender_name)
    if kind == "email" and settings.smtp is not None:
        return EmailChannel(_server(settings.smtp), addresses)
    return AppriseChannel(addresses)


def _hook(entry: ReachSettings) -> Hook:
    keys = [signing_key(secret.get_secret_value()) for secret in entry.secrets]
    return Hook(entry.address.get_secret_value(), tuple(k for k in keys if k is not None), entry.private_address)


def _server(smtp: SmtpSettings) -> MailServer:
    password = smtp.password.get_secret_value() if smtp.password is not None else None
    return MailServer(smtp.host, smtp.port, smtp.sender, smtp.security, smtp.username, password, smtp.authority_file)


def target_faults(settings: WaysSettings) -> list[Fault]:
    """Return the addresses that apprise could do nothing with; none of them is shown."""
    mend = "look up in apprise's documentation how the address of this service is written"
    return [
        Fault(f"reach {entry.person}", "what stands at its address is nothing that apprise knows", mend)
        for entry in settings.reach
        if entry.channel == "apprise" and not is_target(entry.address.get_secret_value())
    ]
