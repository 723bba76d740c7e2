// SPDX-License-Identifier: MIT
//
// What every core function returns when it cannot do its work: what failed, on what, and what the user can do about it.
// No exception crosses a core header.
//
//     Result<Oid> tip = ...;
//     if (!tip)
//         std::cerr << tip.error().line() << '\n';   // one line, no control characters
#pragma once

#include <expected>
#include <string>
#include <string_view>

namespace espalier {

enum class ErrorKind {
    Broken,      // the repository, a file or an object is damaged or missing
    NotFound,    // what was named does not exist
    Refused,     // a check said no; nothing was changed
    Cancelled,   // the user stopped it
    Unsupported, // a repository format or feature that the program does not handle
    Network,     // the other side could not be reached, or said no
    Storage,     // the disk: full, read-only, no permission
    Usage,       // the call itself makes no sense
};

struct Error {
    ErrorKind kind = ErrorKind::Broken;
    std::string what;   // what failed, a sentence without its full stop: "The branch cannot be moved"
    std::string on;     // on what: a path, a ref, an id; may be empty
    std::string remedy; // what the user can do, a sentence without its full stop; may be empty

    // "what (on). remedy." in one line; control characters and direction overrides of the repository's own names are
    // shown escaped (see text.h).
    std::string line() const;
};

template <typename T> using Result = std::expected<T, Error>;

// Shorthand for `return fail(ErrorKind::Refused, "…", "…", "…")`.
inline std::unexpected<Error> fail(ErrorKind kind, std::string what, std::string on = {}, std::string remedy = {})
{
    return std::unexpected(Error{kind, std::move(what), std::move(on), std::move(remedy)});
}
// `known`: what is known about what was done until then. Only who stopped before anything was changed may leave it out.
inline std::unexpected<Error> cancelled(std::string known = "Nothing was changed")
{
    return fail(ErrorKind::Cancelled, "Stopped", {}, std::move(known));
}

} // namespace espalier
