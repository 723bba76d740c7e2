// SPDX-License-Identifier: MIT
#include "core/git/spawn.h"

#include <cstring>
#include <map>
#include <spawn.h>

extern char** environ; // NOLINT: POSIX names it so

namespace espalier {

namespace {

// What git itself removes before it runs something in another repository (git rev-parse --local-env-vars).
constexpr const char* repositoryVariables[] = {"GIT_ALTERNATE_OBJECT_DIRECTORIES",
                                               "GIT_CONFIG",
                                               "GIT_OBJECT_DIRECTORY",
                                               "GIT_DIR",
                                               "GIT_WORK_TREE",
                                               "GIT_IMPLICIT_WORK_TREE",
                                               "GIT_GRAFT_FILE",
                                               "GIT_INDEX_FILE",
                                               "GIT_NO_REPLACE_OBJECTS",
                                               "GIT_REPLACE_REF_BASE",
                                               "GIT_PREFIX",
                                               "GIT_SHALLOW_FILE",
                                               "GIT_COMMON_DIR",
                                               "GIT_INTERNAL_SUPER_PREFIX"};

std::vector<std::string> environmentOf(const ProcessRequest& request)
{
    std::map<std::string, std::string> variables;
    for (char** at = environ; *at; ++at) {
        const std::string_view line = *at;
        const std::size_t equals = line.find('=');
        if (equals != std::string_view::npos)
            variables.emplace(line.substr(0, equals), line.substr(equals + 1));
    }
    for (const char* name : repositoryVariables)
        variables.erase(name);
    for (const auto& [name, value] : request.environment) {
        if (value)
            variables[name] = *value;
        else
            variables.erase(name);
    }
    std::vector<std::string> lines;
    for (const auto& [name, value] : variables)
        lines.push_back(name + '=' + value);
    return lines;
}

std::vector<char*> pointersTo(std::vector<std::string>& texts)
{
    std::vector<char*> pointers;
    for (std::string& text : texts)
        pointers.push_back(text.data());
    pointers.push_back(nullptr);
    return pointers;
}

int spawnOnce(const ProcessRequest& request, std::vector<std::string> argv, Pipes& pipes, pid_t& pid)
{
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, pipes.in.read.get(), 0);
    posix_spawn_file_actions_adddup2(&actions, pipes.out.write.get(), 1);
    posix_spawn_file_actions_adddup2(&actions, pipes.err.write.get(), 2);
    if (!request.folder.empty())
        posix_spawn_file_actions_addchdir_np(&actions, request.folder.c_str());
#if defined(__GLIBC_PREREQ)
#if __GLIBC_PREREQ(2, 34)
    posix_spawn_file_actions_addclosefrom_np(&actions, 3);
#endif
#endif
    posix_spawnattr_t attributes;
    posix_spawnattr_init(&attributes);
    sigset_t none, usual;
    sigemptyset(&none);
    sigemptyset(&usual);
    for (const int number : {SIGPIPE, SIGINT, SIGTERM, SIGQUIT, SIGHUP, SIGCHLD})
        sigaddset(&usual, number);
    posix_spawnattr_setsigmask(&attributes, &none);
    posix_spawnattr_setsigdefault(&attributes, &usual);
    short flags = POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF;
    if (!request.interactive)
        flags = short(flags | POSIX_SPAWN_SETPGROUP);
    posix_spawnattr_setpgroup(&attributes, 0);
    posix_spawnattr_setflags(&attributes, flags);
    std::vector<std::string> environment = environmentOf(request);
    const int code = posix_spawnp(&pid, argv.front().c_str(), &actions, &attributes, pointersTo(argv).data(),
                                  pointersTo(environment).data());
    posix_spawnattr_destroy(&attributes);
    posix_spawn_file_actions_destroy(&actions);
    return code;
}

} // namespace

Result<pid_t> spawnProcess(const ProcessRequest& request, Pipes& pipes)
{
    if (!pipes.in.open() || !pipes.out.open() || !pipes.err.open())
        return fail(ErrorKind::Storage, "A program cannot be started", request.argv.front(),
                    "Too many files are open; close other programs and try again");
    pid_t pid = -1;
    int code = spawnOnce(request, request.argv, pipes, pid);
    if (code == ENOEXEC) {
        // A script without a first line that names its interpreter is the shell's (POSIX, execvp).
        std::vector<std::string> argv{"sh"};
        argv.insert(argv.end(), request.argv.begin(), request.argv.end());
        code = spawnOnce(request, argv, pipes, pid);
    }
    if (code == ENOENT || code == ENOTDIR)
        return fail(ErrorKind::NotFound, "A program was not found", request.argv.front(),
                    "Install it, or correct the setting of git that names it");
    if (code != 0)
        return fail(ErrorKind::Storage, std::string("A program cannot be started [") + std::strerror(code) + "]",
                    request.argv.front(), "Check that it may be executed");
    pipes.in.read.close();
    pipes.out.write.close();
    pipes.err.write.close();
    for (const Fd* fd : {&pipes.in.write, &pipes.out.read, &pipes.err.read})
        fcntl(fd->get(), F_SETFL, O_NONBLOCK);
    return pid;
}

} // namespace espalier
