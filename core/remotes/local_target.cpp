// SPDX-License-Identifier: MIT
//
// Pushing into a repository on disk as git-receive-pack(1) would: objects first, then hooks, then the ref by
// compare-and-swap under its lock.
#include "core/git/text.h"
#include "core/refs/ref_locks.h"
#include "core/remotes/push_target.h"

namespace espalier {

namespace {

namespace fs = std::filesystem;

struct PackBuilder {
    git_packbuilder* handle = nullptr;
    ~PackBuilder() { git_packbuilder_free(handle); }
};

std::string shown(const std::string& ref) { return displayText(ref, 300); }

class LocalTarget : public PushTarget {
  public:
    LocalTarget(const Repository& from, Repository to, const Progress& progress)
        : m_from(from), m_to(std::move(to)), m_progress(progress)
    {
    }

    Result<Oid> advertised(const std::string& ref) override { return readRef(raw(m_to), ref); }
    std::vector<std::string> takeSaid() override { return std::exchange(m_said, {}); }

    std::expected<void, PushFailure> update(const std::string& ref, const Oid& old, const Oid& now) override
    {
        const std::string line = old.hex() + " " + now.hex() + " " + ref + "\n";
        if (auto ready = prepare(ref, old, now, line); !ready)
            return std::unexpected(PushFailure{ready.error()});
        auto locks = RefLocks::take(raw(m_to), {{ref, old, now}});
        if (!locks && locks.error().kind == ErrorKind::Refused)
            return std::unexpected(PushFailure{{ErrorKind::Refused, "The remote's branch moved since it was looked at",
                                                shown(ref), "Look at it again before it is overwritten"}});
        if (!locks)
            return std::unexpected(PushFailure{locks.error()});
        if (auto moved = locks->commit("push"); !moved) {
            const auto stands = readRef(raw(m_to), ref);
            return std::unexpected(PushFailure{moved.error(), stands && *stands == old});
        }
        // The ref has moved; what this hook says, or that it was stopped, can only be passed on.
        if (auto hook = run("post-receive", {}, line); !hook && hook.error().kind == ErrorKind::Cancelled)
            m_said.push_back("The hook post-receive was stopped; the push itself was done");
        else if (!hook)
            m_said.push_back(hook.error().line());
        return {};
    }

  private:
    // All that comes before the ref moves.
    Result<void> prepare(const std::string& ref, const Oid& old, const Oid& now, const std::string& line)
    {
        if (auto allowed = checkAllowed(ref, old, now); !allowed)
            return allowed;
        if (!now.isZero()) {
            if (auto sent = sendObjects(now); !sent)
                return sent;
        }
        if (auto hook = run("pre-receive", {}, line); !hook)
            return hook;
        return run("update", {ref, old.hex(), now.hex()}, {});
    }

    // git-config(1): receive.denyCurrentBranch, denyDeletes, denyNonFastForwards.
    Result<void> checkAllowed(const std::string& ref, const Oid& old, const Oid& now)
    {
        auto head = readHead(raw(m_to));
        const std::string current = m_to.config("receive.denyCurrentBranch").value_or("refuse");
        if (head && head->text == ref && !m_to.isBare() && current != "ignore" && current != "warn" &&
            current != "false")
            return fail(ErrorKind::Refused, "The branch is checked out in the remote repository", shown(ref),
                        "Check out something else there");
        if (now.isZero() && m_to.configBool("receive.denyDeletes", false))
            return fail(ErrorKind::Refused, "The remote does not allow branches to be deleted", shown(ref));
        const git_oid from = toGit(old), to = toGit(now);
        if (!old.isZero() && !now.isZero() && m_to.configBool("receive.denyNonFastForwards", false) &&
            git_graph_descendant_of(raw(m_from), &to, &from) != 1)
            return fail(ErrorKind::Refused, "The remote does not allow branches to be overwritten", shown(ref));
        return {};
    }

    Result<void> run(const std::string& hook, const std::vector<std::string>& arguments, const std::string& input)
    {
        auto said = runServerHook(m_to, hook, arguments, input, m_progress);
        if (!said)
            return std::unexpected(said.error());
        if (!said->empty())
            m_said.push_back(displayText(*said, 1000));
        return {};
    }

    Result<void> sendObjects(const Oid& tip)
    {
        const auto failed = [&] {
            return libgitError("The objects cannot be sent", m_to.path().string(),
                               "Check the free space and the permissions there");
        };
        PackBuilder pack;
        Handle<git_revwalk> walk;
        const git_oid id = toGit(tip);
        if (git_packbuilder_new(&pack.handle, raw(m_from)) < 0 || git_revwalk_new(out(walk), raw(m_from)) < 0 ||
            git_revwalk_push(walk.get(), &id) < 0)
            return failed();
        Handle<git_reference_iterator> refs;
        if (git_reference_iterator_new(out(refs), raw(m_to)) == 0) {
            for (Handle<git_reference> ref; git_reference_next(out(ref), refs.get()) == 0;) {
                Handle<git_object> there;
                // What only the other side has cannot be left out of a walk here, and need not be.
                if (git_reference_peel(out(there), ref.get(), GIT_OBJECT_COMMIT) == 0) {
                    Handle<git_commit> here;
                    if (git_commit_lookup(out(here), raw(m_from), git_object_id(there.get())) == 0)
                        git_revwalk_hide(walk.get(), git_object_id(there.get()));
                }
            }
        }
        if (git_packbuilder_insert_walk(pack.handle, walk.get()) < 0)
            return failed();
        if (git_packbuilder_object_count(pack.handle) == 0)
            return {};
        const fs::path folder = m_to.commonDir() / "objects/pack";
        std::error_code error;
        fs::create_directories(folder, error);
        const auto stop = [](const git_indexer_progress*, void* payload) {
            return static_cast<const Progress*>(payload)->stopped() ? -1 : 0;
        };
        if (git_packbuilder_write(pack.handle, folder.c_str(), 0, stop, const_cast<Progress*>(&m_progress)) < 0)
            return m_progress.stopped() ? cancelled() : failed();
        Handle<git_odb> odb;
        if (git_repository_odb(out(odb), raw(m_to)) == 0)
            git_odb_refresh(odb.get());
        return {};
    }

    const Repository& m_from;
    Repository m_to;
    const Progress& m_progress;
    std::vector<std::string> m_said;
};

} // namespace

std::unique_ptr<PushTarget> makeLocalTarget(const Repository& from, Repository to, const Progress& progress)
{
    return std::make_unique<LocalTarget>(from, std::move(to), progress);
}

} // namespace espalier
