// SPDX-License-Identifier: MIT
//
// Every call of every operation that writes, each gone wrong in each way (see fault_scene.h). The full form of test_faults.
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
                 : split("kill,cut,fail:EIO,fail:ENOSPC,fail:EACCES,tear:ENOSPC,full,broken,second,beside");
    const unsigned stride = argc > 3 ? unsigned(std::max(1, std::atoi(argv[3]))) : 1;
    const unsigned first = argc > 4 ? unsigned(std::max(1, std::atoi(argv[4]))) : 1;
    const unsigned last = argc > 5 ? unsigned(std::atoi(argv[5])) : ~0U;
    std::size_t all = 0, wrong = 0;
    const auto root = scratchFolder() / ("espalier-faults-" + std::to_string(::getpid()));
    for (const std::string& name : names) {
        FaultScene scene(root, operationNamed(name));
        std::size_t rounds = 0, bad = 0;
        for (const std::string& kind : kinds) {
            for (unsigned at = first; at <= std::min(last, scene.calls() + (kind == "kill" ? 1 : 0)); at += stride) {
                if (kind == "beside") {
                    for (const auto& [program, command] : secondPrograms()) {
                        bad += tell(scene, name + " beside " + program, {.below = {}, .at = at, .kind = kind},
                                    scene.beside(at, command));
                        ++rounds;
                    }
                    continue;
                }
                if (kind != "second") {
                    const Fault fault{.below = {}, .at = at, .kind = kind};
                    bad += tell(scene, name, fault, scene.round(fault));
                    ++rounds;
                    continue;
                }
                // The recovery of a killed operation is itself stopped, at some of its calls.
                const Fault fault{.below = {}, .at = at, .kind = "kill"};
                scene.reset();
                (void)scene.perform(fault);
                const unsigned calls = scene.recover().calls;
                for (unsigned second = 1 + at % 3; second <= calls; second += 3) {
                    const Fault inRecovery{.below = {}, .at = second, .kind = second % 2 ? "kill" : "fail:EIO"};
                    bad +=
                        tell(scene,
                             name + ", then " + inRecovery.kind + " at " + std::to_string(second) + " of the recovery,",
                             fault, scene.round(fault, inRecovery));
                    ++rounds;
                }
            }
        }
        std::printf("%-20s %u calls, %zu rounds, %zu wrong\n", name.c_str(), scene.calls(), rounds, bad);
        std::fflush(stdout);
        all += rounds;
        wrong += bad;
    }
    std::printf("%zu rounds, %zu wrong\n", all, wrong);
    return wrong == 0 ? 0 : 1;
}
