"""How a phone is told to trust this machine's own certificate authority: the page, and the certificate to download."""

from __future__ import annotations

from html import escape

from cryptography import x509
from flask import Flask, Response, request

from dashboard.access import AUTHORITY_PATH, CERTIFICATE_PATH
from dashboard.certificates import HomeMade
from dashboard.machine import HOME_NETWORKS
from dashboard.plain_page import plain_page
from dashboard.theme import day

MEDIA_TYPE = "application/x-x509-ca-cert"
"""Never registered, but what phones go by when they offer to install an authority."""


def hand_out(server: Flask, authority: HomeMade) -> None:
    """Offer the page and the certificate; the key of it leaves this machine never."""

    def page() -> Response:
        return plain_page("Trust this machine", page_body(authority, request.host))

    def download() -> Response:
        answer = Response(authority.der(), mimetype=MEDIA_TYPE)
        answer.headers["Content-Disposition"] = 'attachment; filename="pack-tracker-authority.crt"'
        answer.headers["Cache-Control"] = "no-store"
        return answer

    server.add_url_rule(CERTIFICATE_PATH, "certificate", page)
    server.add_url_rule(AUTHORITY_PATH, "authority", download)


def page_body(authority: HomeMade, host: str) -> str:
    """What a person needs to know and do, asked for under that host."""
    certificate = authority.authority
    [called] = certificate.subject.get_attributes_for_oid(x509.NameOID.COMMON_NAME)
    limits = certificate.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    names = sorted(one.value for one in limits if isinstance(one, x509.DNSName))
    secure = f"https://{escape(host)}/"
    return f"""<div class="reading">
<p>The dashboard is served over https with a certificate that this machine made itself. A phone believes it after it has been told once
to trust the authority behind it: then there is no warning any more, and what is typed goes over the network encrypted.</p>

<h2>1. Download</h2>
<p><a class="button" href="{AUTHORITY_PATH}" download>Download the certificate</a></p>

<h2>2. Compare</h2>
<p>Its SHA-256 fingerprint is</p>
<p class="fingerprint">{_in_groups(authority.fingerprint)}</p>
<p>Compare it with the one printed where the program was started, and with the one the phone shows. If one pair of digits differs,
somebody stands in between: install nothing.</p>

<h2>3. Install</h2>
<p>Phones differ; look for these words in the settings, or search the settings for “certificate”.</p>
<ol class="numbered">
<li>Open the downloaded file, or go to the settings for security, privacy or profiles, to installing a certificate from the device’s memory.</li>
<li>Where the phone asks what it is for, choose <b>CA certificate</b> (an authority, for websites), not one for a user or for Wi-Fi.</li>
<li>The phone warns, as it should. Look at the details and compare the fingerprint there.</li>
<li>Some phones want a second step: in the settings for certificate trust, switch full trust for websites on for this one.</li>
<li>Open <a href="{secure}">{secure}</a>. There must be no warning. If there is one, some browsers keep a list of their own: try the phone’s own browser.</li>
</ol>

<h2>What trusting it means</h2>
<ul class="heed">
<li>The phone then believes this machine about who answers under a name. The certificate limits that to {_listed(names)},
and to the addresses of home networks ({_listed([str(network) for network in HOME_NETWORKS])}). Not every phone heeds such limits.</li>
<li>Whoever gets hold of the key on this machine could pose as those names. The key is in a file only its owner can read,
<code>{escape(authority.folder.name)}/authority.pem</code> in the data folder of this program; never pass that file on.</li>
<li>Install it on your own phone only, not on one that an employer or a school looks after, and not from a machine you do not know.</li>
<li>It holds until {day(certificate.not_valid_after_utc)}. The dashboard works without it as well, after the browser’s warning, but then
nothing shows that it is really this machine.</li>
</ul>

<h2>Remove it again</h2>
<p>In the same place of the settings, among the certificates or profiles the user has added, choose <b>{escape(str(called.value))}</b> and remove it.
Do so when the machine is given away, or when you no longer use it.</p>
</div>"""


def _in_groups(fingerprint: str) -> str:
    """The pairs of digits in groups of four, so that the eye can keep its place."""
    pairs = fingerprint.split(":")
    return " ".join(f"<span>{':'.join(pairs[at : at + 4])}</span>" for at in range(0, len(pairs), 4))


def _listed(words: list[str]) -> str:
    return ", ".join(f"<b>{escape(word)}</b>" for word in words)
