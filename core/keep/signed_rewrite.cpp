// SPDX-License-Identifier: MIT
#include "core/keep/signed_rewrite.h"

#include "core/git/commit.h"
#include "core/git/signing.h"

namespace espalier {

Result<void> signRewrite(const Repository& repository, Change& change, const Progress& progress)
{
    if (!change.objects)
        return {};
    auto signedObjects = std::make_shared<NewObjects>();
    std::unordered_map<Oid, Commit> waiting;
    for (const Oid& id : change.objects->ids()) {
        const Object* object = change.objects->find(id);
        if (object->type != ObjectType::Commit) {
            signedObjects->add(object->type, *object->bytes);
            continue;
        }
        auto commit = parseCommit(id, object->view());
        if (!commit)
            return std::unexpected(commit.error());
        waiting.emplace(id, std::move(*commit));
    }
    std::unordered_map<Oid, Oid> renamed;
    const std::size_t total = waiting.size();
    while (!waiting.empty()) {
        const auto ready = std::ranges::find_if(waiting, [&](const auto& item) {
            return std::ranges::none_of(item.second.parents,
                                        [&](const Oid& parent) { return waiting.contains(parent); });
        });
        if (ready == waiting.end())
            return fail(ErrorKind::Broken, "The new commits name each other as parents", waiting.begin()->first.hex());
        Commit commit = std::move(ready->second);
        const Oid unsignedId = ready->first;
        waiting.erase(ready);
        for (Oid& parent : commit.parents) {
            if (const auto at = renamed.find(parent); at != renamed.end())
                parent = at->second;
        }
        progress.report("Signing commits", renamed.size(), total);
        const std::string bytes = formatCommit(commit);
        auto signature = signCommit(repository, bytes, progress.stop);
        if (!signature)
            return std::unexpected(signature.error());
        renamed[unsignedId] = signedObjects->add(ObjectType::Commit, addSignatureHeader(bytes, *signature));
    }
    const auto rename = [&](Oid& id) {
        if (const auto at = renamed.find(id); at != renamed.end())
            id = at->second;
    };
    for (RefMove& move : change.moves)
        rename(move.now);
    for (auto& pair : change.pairs)
        rename(pair.second);
    change.objects = std::move(signedObjects);
    return {};
}

} // namespace espalier
