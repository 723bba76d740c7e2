// SPDX-License-Identifier: MIT
//
// Every call of every operation that writes, each gone wrong in each way (see fault_scene.h), and each on disks with little room.
// The full form of test_faults.
//
//     every_step [OPERATION[,OPERATION…] [KIND[,KIND…] [STRIDE [FIRST [LAST]]]]]
//
// Prints a line for what is wrong and a count for each operation; ends with 1 when anything was wrong.
#include "tests/faults/fault_scene.h"

#include <cstdio>
#include <cstdlib>

#include <unistd.h>

using namespace espalier::test;

namespace {

std::vector<std::string> split(const std::string& text)
{
    std::vector<std::string> parts;
    for (std::size_t at = 0; at <= text.size();) {
        const std::size_t end = std::min(text.find(',', at), text.size());
        parts.push_back(text.substr(at, end - at));
        at = end + 1;
    }
    return parts;
}

std::size_t tell(const FaultScene& scene, const std::string& operation, const Fault& fault,
                 const std::vector<std::string>& wrong)
{
    for (const std::string& line : wrong)
        std::printf("%s %s at %u (%s): %s\n", operation.c_str(), fault.kind.c_str(), fault.at,
                    scene.callNamed(fault.at).c_str(), line.c_str());
    std::fflush(stdout);
    return wrong.size();
}

struct Count {
    std::size_t rounds = 0, wrong = 0;
};

void atCall(FaultScene& scene, const std::string& name, const std::string& kind, unsigned at, Count& count)
{
    const auto done = [&](const std::string& what, const Fault& fault, const std::vector<std::string>& wrong) {
        count.wrong += tell(scene, what, fault, wrong);
        ++count.rounds;
    };
    const Fault fault{.below = {}, .at = at, .kind = kind};
    // "beside": with each of the other programs; "beside:gc": with that one.
    if (kind.starts_with("beside")) {
        const std::string only = kind.size() > 7 ? kind.substr(7) : std::string();
        for (const auto& [program, command] : secondPrograms())
            if (only.empty() || only == program)
                done(name + " beside " + program, fault, scene.beside(at, command));
        return;
    }
    const Fault kill{.below = {}, .at = at, .kind = "kill"};
    if (kind == "again") {
        done(name + ", repeated,", kill, scene.again(kill));
        return;
    }
    if (kind != "second") {
        done(name, fault, scene.round(fault));
        return;
    }
    // The recovery of a killed operation is itself stopped, at some of its calls.
    scene.reset();
    (void)scene.perform(kill);
    const unsigned calls = scene.recover().calls;
    for (unsigned second = 1 + at % 3; second <= calls; second += 3) {
        const Fault inRecovery{.below = {}, .at = second, .kind = second % 2 ? "kill" : "fail:EIO"};
        done(name + ", then " + inRecovery.kind + " at " + std::to_string(second) + " of the recovery,", kill,
             scene.round(kill, inRecovery));
    }
}

// A disk that is really full, with so much room left; only root has one.
void onSmallDisks(const std::filesystem::path& folder, const std::string& name, Count& count)
{
    SmallDisk disk(folder);
    if (!disk.isThere()) {
        std::printf("%s: %s\n", name.c_str(), disk.reason().c_str());
        return;
    }
    FaultScene scene(folder / "small", operationNamed(name));
    for (const std::size_t pages : {0, 1, 2, 3, 5, 8, 12, 16, 24, 32, 48, 64, 96, 128}) {
        const std::size_t room = pages * 4096;
        count.wrong += tell(scene, name + " with room for " + std::to_string(room) + " bytes,", {.kind = "disk"},
                            scene.withRoom(disk, room));
        ++count.rounds;
    }
}

} // namespace

int main(int argc, char** argv)
{
    std::vector<std::string> names;
    if (argc > 1 && std::string(argv[1]) != "all")
        names = split(argv[1]);
    else
        for (const Operation& operation : operations())
            names.push_back(operation.name);
    const std::vector<std::string> kinds =
        argc > 2 ? split(argv[2])
                 : split("kill,cut,fail:EIO,fail:ENOSPC,fail:EACCES,tear:ENOSPC,full,broken,again,second,disk,beside");
    const unsigned stride = argc > 3 ? unsigned(std::max(1, std::atoi(argv[3]))) : 1;
    const unsigned first = argc > 4 ? unsigned(std::max(1, std::atoi(argv[4]))) : 1;
    const unsigned last = argc > 5 ? unsigned(std::atoi(argv[5])) : ~0U;
    std::size_t all = 0, wrong = 0;
    const auto root = scratchFolder() / ("espalier-faults-" + std::to_string(::getpid()));
    for (const std::string& name : names) {
        FaultScene scene(root, operationNamed(name));
        Count count;
        for (const std::string& kind : kinds) {
            if (kind == "disk") {
                onSmallDisks(root.string() + "-disk", name, count);
                continue;
            }
            const bool afterTheEnd = kind == "kill" || kind == "again";
            for (unsigned at = first; at <= std::min(last, scene.calls() + (afterTheEnd ? 1 : 0)); at += stride)
                atCall(scene, name, kind, at, count);
        }
        std::printf("%-20s %u calls, %zu rounds, %zu wrong\n", name.c_str(), scene.calls(), count.rounds, count.wrong);
        std::fflush(stdout);
        all += count.rounds;
        wrong += count.wrong;
    }
    std::printf("%zu rounds, %zu wrong\n", all, wrong);
    return wrong == 0 ? 0 : 1;
}
