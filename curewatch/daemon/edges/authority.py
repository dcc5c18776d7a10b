"""Trust in a broker by the authority that the shed's owner named."""

import ssl


def trusting(authority_file: str) -> ssl.SSLContext:
    """A context that trusts this authority alone, on every Python alike.

    From Python 3.13 on the default asks an authority for a key usage extension, which the ones that yards
    make themselves do not carry. Signature, name and dates are checked as before.
    """
    context = ssl.create_default_context(ssl.Purpose.SERVER_AUTH, cafile=authority_file)
    context.verify_flags &= ~ssl.VERIFY_X509_STRICT
    return context
