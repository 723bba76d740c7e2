// SPDX-License-Identifier: MIT
#include "core/git/signing.h"

#include "core/git/config_path.h"
#include "core/git/process.h"

#include <cstdlib>
#include <unistd.h>

namespace espalier {

namespace {

namespace fs = std::filesystem;

// A file that goes with its owner; for a public key that is given in the configuration itself.
class KeyFile {
  public:
    ~KeyFile()
    {
        if (!m_path.empty())
            ::unlink(m_path.c_str());
    }
    KeyFile() = default;
    KeyFile(const KeyFile&) = delete;
    KeyFile& operator=(const KeyFile&) = delete;

    bool write(std::string contents)
    {
        std::error_code error;
        std::string path = (fs::temp_directory_path(error) / "espalier-key-XXXXXX").string();
        const int fd = error ? -1 : ::mkstemp(path.data());
        if (fd < 0)
            return false;
        m_path = path;
        contents += '\n';
        const bool whole = ::write(fd, contents.data(), contents.size()) == ssize_t(contents.size());
        return ::close(fd) == 0 && whole;
    }
    const std::string& path() const { return m_path; }

  private:
    std::string m_path;
};

std::unexpected<Error> notSigned(const std::string& program, const ProcessResult& ended, const std::string& key)
{
    const std::string words = ended.lastWords();
    return fail(ErrorKind::Refused, "The commit could not be signed" + (words.empty() ? "" : " [" + words + "]"), key,
                "Check user.signingKey and that " + program + " can use it, or set commit.gpgSign to false");
}

std::unexpected<Error> noKey()
{
    return fail(ErrorKind::Refused, "Commits are to be signed, but no key is configured", "user.signingKey",
                "Set it to your key, or set commit.gpgSign to false");
}

std::string withoutCarriageReturns(std::string text)
{
    std::erase(text, '\r');
    return text;
}

fs::path folderOf(const Repository& repository)
{
    return repository.isBare() ? repository.gitDir() : repository.workDir();
}

Result<std::string> signWithGpg(const Repository& repository, const std::string& program, std::string key,
                                const std::string& bytes, std::stop_token stop)
{
    if (key.empty()) {
        const auto identity = committerIdentity(repository);
        if (!identity)
            return std::unexpected(identity.error());
        key = identity->name + " <" + identity->email + ">";
    }
    const auto ended = run({.argv = {program, "--status-fd=2", "-bsau", key},
                            .folder = folderOf(repository),
                            .input = bytes,
                            .stop = std::move(stop),
                            .interactive = true});
    if (!ended)
        return std::unexpected(ended.error());
    // The status line is gpg's promise that a signature was made (GnuPG, doc/DETAILS); the exit status alone is not.
    const bool created =
        ended->err.starts_with("[GNUPG:] SIG_CREATED ") || ended->err.contains("\n[GNUPG:] SIG_CREATED ");
    if (!ended->ok() || !created || ended->out.empty())
        return notSigned(program, *ended, key);
    return withoutCarriageReturns(ended->out);
}

// user.signingKey, or the first key that gpg.ssh.defaultKeyCommand names.
Result<std::string> sshKey(const Repository& repository, const std::string& key, const std::stop_token& stop)
{
    const std::string command = repository.config("gpg.ssh.defaultkeycommand").value_or("");
    if (!key.empty() || command.empty())
        return key.empty() ? Result<std::string>(noKey()) : key;
    const auto ended = run({.argv = shellCommand(command), .folder = folderOf(repository), .stop = stop});
    if (!ended)
        return std::unexpected(ended.error());
    const std::string line = ended->out.substr(0, ended->out.find('\n'));
    if (!ended->ok() || !(line.starts_with("ssh-") || line.starts_with("key::")))
        return noKey();
    return line;
}

Result<std::string> signWithSsh(const Repository& repository, const std::string& program, const std::string& configured,
                                const std::string& bytes, const std::stop_token& stop)
{
    const auto key = sshKey(repository, configured, stop);
    if (!key)
        return key;
    std::vector<std::string> argv{program, "-Y", "sign", "-n", "git", "-f"};
    KeyFile literal;
    if (key->starts_with("ssh-") || key->starts_with("key::")) {
        if (!literal.write(key->starts_with("key::") ? key->substr(5) : *key))
            return fail(ErrorKind::Storage, "A temporary file cannot be written", {}, "Check the free space in TMPDIR");
        argv.insert(argv.end(), {literal.path(), "-U"});
    } else {
        argv.push_back(configPath(repository, "user.signingkey").value_or(*key).string());
    }
    // Without a file behind the options it signs its standard input (ssh-keygen(1), -Y sign).
    const auto ended =
        run({.argv = argv, .folder = folderOf(repository), .input = bytes, .stop = stop, .interactive = true});
    if (!ended)
        return std::unexpected(ended.error());
    if (!ended->ok() || !ended->out.starts_with("-----BEGIN SSH SIGNATURE-----"))
        return notSigned(program, *ended, *key);
    return withoutCarriageReturns(ended->out);
}

} // namespace

Result<bool> wantsSigning(const Repository& repository) { return repository.checkedBool("commit.gpgSign", false); }

Result<std::string> signCommit(const Repository& repository, const std::string& commitBytes, std::stop_token stop)
{
    const auto setting = [&](const std::string& name) { return repository.config(name).value_or(""); };
    const std::string format = repository.config("gpg.format").value_or("openpgp");
    const std::string key = setting("user.signingkey");
    const auto path = [&](const std::string& name) { return configPath(repository, name).value_or("").string(); };
    std::string program = path("gpg." + format + ".program");
    if (program.empty() && format == "openpgp")
        program = path("gpg.program");
    if (format == "openpgp" || format == "x509") {
        if (program.empty())
            program = format == "x509" ? "gpgsm" : "gpg";
        return signWithGpg(repository, program, key, commitBytes, std::move(stop));
    }
    if (format == "ssh")
        return signWithSsh(repository, program.empty() ? "ssh-keygen" : program, key, commitBytes, stop);
    return fail(ErrorKind::Unsupported, "Commits are to be signed in an unknown format", format,
                "Set gpg.format to openpgp, x509 or ssh");
}

std::string addSignatureHeader(std::string_view commitBytes, std::string_view signature)
{
    while (signature.ends_with('\n'))
        signature.remove_suffix(1);
    std::string header = "gpgsig ";
    for (const char c : signature) {
        header += c;
        if (c == '\n')
            header += ' ';
    }
    header += '\n';
    const std::size_t blank = commitBytes.find("\n\n");
    const std::size_t at = blank == std::string_view::npos ? commitBytes.size() : blank + 1;
    return std::string(commitBytes.substr(0, at)) + header + std::string(commitBytes.substr(at));
}

} // namespace espalier
