"""The headers that go with every answer."""

from __future__ import annotations

__all__ = ["FOREVER", "POLICY", "SECURE"]

FOREVER = "private, max-age=31536000, immutable"
"""Cache-Control of what never changes at its address."""

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "connect-src 'self'",
        "media-src 'self' blob:",
        "object-src 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
"""Nothing but our own files is run, shown, asked or sent to; nobody shows us in a frame."""

SECURE = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(self), payment=(), usb=()",
    "Cache-Control": "no-store",
}
"""An answer may say otherwise of itself; what it does not say, it gets from here.

No Strict-Transport-Security: with a certificate of our own making it would lock the owner out.
"""
