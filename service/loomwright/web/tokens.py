"""Tokens of an issuer (JWT, RFC 7519), the second way in beside keys."""

from pathlib import Path

import jwt

from loomwright.web.jwks import ALGORITHMS, AddressKeys, FileKeys, KeySource
from loomwright.web.key_file import SCOPES, SPREADSHEET
from loomwright.web.settings import Settings

LEEWAY_S = 30
_REQUIRED = ("exp", "iss", "aud")
_PARTS = 3


class TokenError(Exception):
    """A token that is not accepted.

    Parameters
    ----------
    message
        Why, in a sentence.
    is_out_of_time
        Whether it is genuine and its time alone is over or not yet come.
    """

    def __init__(self, message: str, *, is_out_of_time: bool = False) -> None:
        super().__init__(message)
        self.is_out_of_time = is_out_of_time


def is_token(text: str) -> bool:
    """Tell whether a credential has the form of a token: three parts with dots between."""
    return text.count(".") == _PARTS - 1


class TokenVerifier:
    """Verifies tokens of one issuer.

    Parameters
    ----------
    settings
        With the issuer, the audience, and the file or address of the keys.
    """

    def __init__(self, settings: Settings) -> None:
        self._issuer = settings.jwt_issuer
        self._audience = settings.jwt_audience
        is_address = "://" in settings.jwt_keys
        self._keys: KeySource = (
            AddressKeys(settings.jwt_keys) if is_address else FileKeys(Path(settings.jwt_keys))
        )

    def subject_and_scopes(self, token: str) -> tuple[str, frozenset[str]]:
        """Return whom a token stands for and what it may do.

        The algorithm is the key's own; what the token's head says of it must agree and is
        otherwise ignored, as is every key and address in the head. ``scope`` (RFC 8693) lists the
        scopes; ``spreadsheet`` is for keys alone and has no effect in a token.

        Parameters
        ----------
        token
            Three parts in base64.

        Returns
        -------
        tuple
            ``sub``, or empty text; scopes.

        Raises
        ------
        TokenError
            It is not accepted.
        KeySetError
            The issuer's keys cannot be had.
        """
        try:
            head = jwt.get_unverified_header(token)
        except jwt.PyJWTError:
            raise TokenError("The token cannot be read.") from None
        identifier, algorithm = head.get("kid"), head.get("alg")
        if not isinstance(identifier, str) or algorithm not in ALGORITHMS or "crit" in head:
            raise TokenError(f"The token needs a kid and one of the algorithms {_ALGORITHM_LIST}.")
        key = self._keys.key(identifier)
        if key is None or key.algorithm_name != algorithm:
            raise TokenError("The token is signed with no key of the issuer.")
        try:
            claims = jwt.decode(
                token,
                key=key,
                algorithms=[algorithm],
                audience=self._audience,
                issuer=self._issuer,
                leeway=LEEWAY_S,
                options={"require": list(_REQUIRED)},
            )
        except (jwt.ExpiredSignatureError, jwt.ImmatureSignatureError):
            raise TokenError(
                "The token is expired or not valid yet.", is_out_of_time=True
            ) from None
        except jwt.PyJWTError:
            raise TokenError("Signature, issuer, audience or a claim is not right.") from None
        stated = claims.get("scope", "")
        scopes = set(stated.split()) if isinstance(stated, str) else set()
        return str(claims.get("sub", "")), frozenset((scopes & set(SCOPES)) - {SPREADSHEET})


_ALGORITHM_LIST = ", ".join(ALGORITHMS)
