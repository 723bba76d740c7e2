// SPDX-License-Identifier: MIT
#include "core/samples/samples.h"

#include "core/git/files.h"
#include "core/git/handles.h"
#include "core/git/library.h"
#include "core/git/objects.h"
#include "core/samples/recipe.h"
#include "core/samples/recipe_texts.h"
#include "core/tree/entry.h"

#include <set>

namespace espalier {

namespace fs = std::filesystem;

namespace {

struct File {
    FileMode mode = FileMode::File;
    Oid id;
};
using Files = std::map<std::string, File>;

std::string findRecipe(const std::string& name)
{
    for (const RecipeText& recipe : recipeTexts())
        if (recipe.name == name)
            return std::string(recipe.text);
    return {};
}

// Turns a recipe's commits into objects, and keeps what each label stands for.
class Builder {
  public:
    explicit Builder(const Recipe& recipe) : m_recipe(recipe)
    {
        for (const RecipeCommit& commit : recipe.commits)
            m_commits[commit.label] = &commit;
    }

    Result<void> run()
    {
        for (const RecipeCommit& commit : m_recipe.commits) {
            Files files = commit.parents.empty() ? Files{} : m_files[commit.parents.front()];
            for (const RecipeEdit& edit : commit.edits)
                if (auto done = apply(files, edit, 0); !done)
                    return done;
            Commit made;
            made.tree = writeTree(files, "");
            for (const std::string& parent : commit.parents)
                made.parents.push_back(m_ids[parent]);
            made.author = commit.author;
            made.committer = commit.committer;
            made.message = commit.message;
            m_ids[commit.label] = m_objects.add(ObjectType::Commit, formatCommit(made));
            m_files[commit.label] = std::move(files);
        }
        return {};
    }

    const Oid& id(const std::string& label) const { return m_ids.at(label); }

    // The objects that these labels reach: what a repository with refs to them holds.
    NewObjects reachedFrom(const std::set<std::string>& labels) const
    {
        NewObjects reached;
        for (const std::string& label : labels)
            collect(m_ids.at(label), reached);
        return reached;
    }

  private:
    std::unexpected<Error> wrong(const RecipeEdit& edit, const std::string& why) const
    {
        return fail(ErrorKind::Usage, "The recipe cannot be built: " + why, "line " + std::to_string(edit.line));
    }

    Result<void> apply(Files& files, const RecipeEdit& edit, int depth)
    {
        const auto found = files.find(edit.path);
        switch (edit.kind) {
        case RecipeEdit::Write:
            files[edit.path] = {found == files.end() ? FileMode::File : found->second.mode, blob(edit.newText)};
            return {};
        case RecipeEdit::Link:
            files[edit.path] = {FileMode::Symlink, blob(edit.target)};
            return {};
        case RecipeEdit::Submodule:
            files[edit.path] = {FileMode::Submodule, hashObject(ObjectType::Commit, edit.path)};
            return {};
        case RecipeEdit::Carry: {
            const auto source = m_commits.find(edit.target);
            if (source == m_commits.end() || depth > 8)
                return wrong(edit, "no commit to carry is labelled '" + edit.target + "'");
            for (const RecipeEdit& other : source->second->edits)
                if (auto done = apply(files, other, depth + 1); !done)
                    return done;
            return {};
        }
        default:
            break;
        }
        if (found == files.end())
            return wrong(edit, "there is no file '" + edit.path + "'");
        if (edit.kind == RecipeEdit::Delete) {
            files.erase(found);
        } else if (edit.kind == RecipeEdit::Move) {
            files[edit.target] = found->second;
            files.erase(edit.path);
        } else if (edit.kind == RecipeEdit::Mode) {
            found->second.mode = edit.target == "executable" ? FileMode::Executable : FileMode::File;
        } else {
            std::string text = *m_objects.find(found->second.id)->bytes;
            const std::size_t at = text.find(edit.oldText);
            if (at == std::string::npos)
                return wrong(edit, "the text to replace is not in '" + edit.path + "'");
            text.replace(at, edit.oldText.size(), edit.newText);
            found->second.id = blob(std::move(text));
        }
        return {};
    }

    Oid blob(std::string text) { return m_objects.add(ObjectType::Blob, std::move(text)); }

    // The tree of all files below `prefix` ("" or "core/").
    Oid writeTree(const Files& files, const std::string& prefix)
    {
        std::vector<TreeEntry> entries;
        std::vector<std::string> folders; // keeps the names that entries point to
        folders.reserve(files.size());
        for (auto at = files.lower_bound(prefix); at != files.end() && at->first.starts_with(prefix);) {
            const std::string_view rest = std::string_view(at->first).substr(prefix.size());
            const std::size_t slash = rest.find('/');
            if (slash == std::string_view::npos) {
                entries.push_back({rest, at->second.mode, at->second.id});
                ++at;
                continue;
            }
            folders.emplace_back(rest.substr(0, slash));
            const std::string inside = prefix + folders.back() + '/';
            entries.push_back({folders.back(), FileMode::Tree, writeTree(files, inside)});
            while (at != files.end() && at->first.starts_with(inside))
                ++at;
        }
        std::ranges::sort(entries, [](const TreeEntry& a, const TreeEntry& b) {
            return compareTreeNames(a.name, a.isTree(), b.name, b.isTree()) < 0;
        });
        return m_objects.add(ObjectType::Tree, formatTree(entries));
    }

    // A list of what is left: a recipe may have more commits than calls fit a stack.
    void collect(const Oid& tip, NewObjects& into) const
    {
        std::vector<Oid> waiting{tip};
        while (!waiting.empty()) {
            const Oid id = waiting.back();
            waiting.pop_back();
            const Object* object = m_objects.find(id);
            if (!object || into.find(id))
                continue;
            into.add(object->type, *object->bytes);
            if (object->type == ObjectType::Tree) {
                const auto entries = parseTree(object->view());
                for (const TreeEntry& entry : entries.value_or(std::vector<TreeEntry>{}))
                    waiting.push_back(entry.id);
            } else if (object->type == ObjectType::Commit) {
                if (const auto commit = parseCommit(id, object->view())) {
                    waiting.push_back(commit->tree);
                    waiting.insert(waiting.end(), commit->parents.begin(), commit->parents.end());
                }
            }
        }
    }

    const Recipe& m_recipe;
    NewObjects m_objects;
    std::map<std::string, const RecipeCommit*> m_commits;
    std::map<std::string, Oid> m_ids;
    std::map<std::string, Files> m_files;
};

Result<Repository> initRepository(const fs::path& path, bool bare)
{
    startLibrary();
    git_repository_init_options options = GIT_REPOSITORY_INIT_OPTIONS_INIT;
    options.flags = GIT_REPOSITORY_INIT_MKDIR | GIT_REPOSITORY_INIT_MKPATH | GIT_REPOSITORY_INIT_NO_REINIT;
    if (bare)
        options.flags |= GIT_REPOSITORY_INIT_BARE;
    options.initial_head = "main";
    Handle<git_repository> made;
    if (git_repository_init_ext(out(made), path.c_str(), &options) < 0)
        return libgitError("The sample repository cannot be made", path.string(), "Choose an empty folder");
    made.reset();
    return Repository::open(path);
}

Result<void> writeRef(const Repository& repository, const std::string& name, const Oid& id)
{
    const git_oid target = toGit(id);
    Handle<git_reference> made;
    if (git_reference_create(out(made), raw(repository), name.c_str(), &target, 1, "sample: made") < 0)
        return libgitError("A ref of the sample cannot be made", name);
    return {};
}

// Which refs of the clone stand for one "seen-…" or plain ref of a remote.
std::string trackingName(const std::string& remote, const std::string& name)
{
    constexpr std::string_view heads = "refs/heads/";
    return name.starts_with(heads) ? "refs/remotes/" + remote + "/" + name.substr(heads.size()) : name;
}

class Places {
  public:
    Places(const Recipe& recipe, const Builder& builder) : m_recipe(recipe), m_builder(builder) {}

    Result<Sample> make(const fs::path& folder)
    {
        Sample sample{folder / "upstream.git", folder / "fork.git", folder / "clone"};
        if (auto done = makeBare("upstream", sample.upstream); !done)
            return std::unexpected(done.error());
        if (auto done = makeBare("fork", sample.fork); !done)
            return std::unexpected(done.error());
        if (auto done = makeClone(sample); !done)
            return std::unexpected(done.error());
        return sample;
    }

  private:
    Result<void> fill(const Repository& repository, const std::vector<std::pair<std::string, std::string>>& refs)
    {
        std::set<std::string> labels;
        for (const auto& [name, label] : refs)
            labels.insert(label);
        if (auto written = writeObjects(repository, m_builder.reachedFrom(labels)); !written)
            return written;
        for (const auto& [name, label] : refs)
            if (auto made = writeRef(repository, name, m_builder.id(label)); !made)
                return made;
        return {};
    }

    Result<void> makeBare(const std::string& place, const fs::path& path)
    {
        auto repository = initRepository(path, true);
        if (!repository)
            return std::unexpected(repository.error());
        std::vector<std::pair<std::string, std::string>> refs;
        for (const RecipeRef& ref : m_recipe.refs)
            if (ref.place == place)
                refs.emplace_back(ref.name, ref.label);
        return fill(*repository, refs);
    }

    Result<void> makeClone(const Sample& sample)
    {
        auto repository = initRepository(sample.clone, false);
        if (!repository)
            return std::unexpected(repository.error());
        const Person& me = m_recipe.people.at(m_recipe.me);
        const std::pair<std::string, std::string> settings[] = {
            {"user.name", me.name},
            {"user.email", me.email},
            {"remote.upstream.url", fs::absolute(sample.upstream).string()},
            {"remote.upstream.fetch", "+refs/heads/*:refs/remotes/upstream/*"},
            {"remote.origin.url", fs::absolute(sample.fork).string()},
            {"remote.origin.fetch", "+refs/heads/*:refs/remotes/origin/*"},
            {"remote.pushDefault", "origin"},
        };
        for (const auto& [key, value] : settings)
            if (auto set = repository->setConfig(key, value); !set)
                return set;
        if (auto filled = fill(*repository, cloneRefs()); !filled)
            return filled;
        for (const char* remote : {"upstream", "origin"}) {
            const std::string target = std::string("refs/remotes/") + remote + "/main";
            Handle<git_reference> head;
            git_reference_symbolic_create(out(head), raw(*repository),
                                          (std::string("refs/remotes/") + remote + "/HEAD").c_str(), target.c_str(), 1,
                                          "sample: made");
        }
        return checkOutClone(*repository);
    }

    std::vector<std::pair<std::string, std::string>> cloneRefs() const
    {
        std::map<std::string, std::string> refs;
        for (const RecipeRef& ref : m_recipe.refs) {
            if (ref.place == "clone")
                refs[ref.name] = ref.label;
            else if (ref.place == "upstream" || ref.place == "fork")
                refs.emplace(trackingName(ref.place == "fork" ? "origin" : "upstream", ref.name), ref.label);
        }
        // What the clone has seen of a remote may be older than the remote, or nothing at all ("-").
        for (const RecipeRef& ref : m_recipe.refs) {
            if (!ref.place.starts_with("seen-"))
                continue;
            const std::string name = trackingName(ref.place == "seen-fork" ? "origin" : "upstream", ref.name);
            refs[name] = ref.label;
        }
        return {refs.begin(), refs.end()};
    }

    Result<void> checkOutClone(const Repository& repository)
    {
        if (git_repository_set_head(raw(repository), ("refs/heads/" + m_recipe.checkout).c_str()) < 0)
            return libgitError("The sample's branch cannot be checked out", m_recipe.checkout);
        git_checkout_options options = GIT_CHECKOUT_OPTIONS_INIT;
        options.checkout_strategy = GIT_CHECKOUT_FORCE;
        if (git_checkout_head(raw(repository), &options) < 0)
            return libgitError("The sample's files cannot be written", repository.workDir().string());
        for (const auto& [path, contents] : m_recipe.changes) {
            const fs::path file = repository.workDir() / path;
            if (auto made = makeFolders(file.parent_path()); !made)
                return made;
            if (auto written = writeFileAtomically(file, contents); !written)
                return written;
        }
        return {};
    }

    const Recipe& m_recipe;
    const Builder& m_builder;
};

} // namespace

std::vector<SampleInfo> listSamples()
{
    std::vector<SampleInfo> samples;
    for (const RecipeText& text : recipeTexts()) {
        if (text.name == "tidebook")
            continue; // the common past, not a scenario
        const auto recipe = parseRecipe(std::string(text.text), findRecipe);
        if (recipe)
            samples.push_back({std::string(text.name), recipe->summary});
    }
    return samples;
}

Result<Sample> buildSample(const std::string& name, const fs::path& folder, const Progress& progress)
{
    const std::string text = name == "tidebook" ? std::string() : findRecipe(name);
    if (text.empty()) {
        std::string names;
        for (const SampleInfo& sample : listSamples())
            names += (names.empty() ? "" : ", ") + sample.name;
        return fail(ErrorKind::NotFound, "There is no such sample", name, "Choose one of: " + names);
    }
    return buildSampleFromText(text, folder, progress);
}

Result<Sample> buildSampleFromText(const std::string& text, const fs::path& folder, const Progress& progress)
{
    std::error_code error;
    if (fs::exists(folder, error) && !fs::is_empty(folder, error))
        return fail(ErrorKind::Refused, "The sample needs an empty folder", folder.string(),
                    "Choose a folder that does not exist yet");
    const auto recipe = parseRecipe(text, findRecipe);
    if (!recipe)
        return std::unexpected(recipe.error());
    Builder builder(*recipe);
    if (auto built = builder.run(); !built)
        return std::unexpected(built.error());
    if (progress.stopped())
        return cancelled();
    fs::create_directories(folder, error);
    if (error)
        return fail(ErrorKind::Storage, "The folder cannot be made", folder.string(), error.message());
    return Places(*recipe, builder).make(folder);
}

} // namespace espalier
