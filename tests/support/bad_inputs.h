// SPDX-License-Identifier: MIT
//
// What test_bad_inputs goes through: one damaged, hostile or impossible input a row, the command that meets it, and what its
// answer has to say. The rows stand in bad_*.cpp beside this, by what they are about.
#pragma once

#include "tests/support/tide_scene.h"

#include <QByteArray>
#include <QList>
#include <QString>
#include <QStringList>

#include <functional>
#include <map>

namespace espalier::test {

struct BadInput {
    const char* name;
    std::function<void(const Scene&)> setUp;
    QStringList command;     // of espalier; PATH stands for the worktree
    int status;              // that it has to end with
    QByteArray remedy;       // what its line says is to be done; empty only where nothing is said
    QList<QByteArray> words; // that must be in its line, each
    int mostLines = 1;       // on standard error
    std::map<QString, QString> environment = {};
    const char* output = nullptr; // standard output goes to this file instead; see also the two below
    // What is wrong afterwards. Where there is none, nothing may have changed.
    std::function<QByteArray(const Scene&)> after = {};
    QByteArray never = {}; // advice that would be wrong
};
// Instead of a file: a pipe that nobody reads any more, and no file at all.
inline constexpr const char* brokenPipe = "|";
inline constexpr const char* closedOutput = "-";

QList<BadInput> badObjects();
QList<BadInput> badRefs();
QList<BadInput> badSettings();
QList<BadInput> badFiles();
QList<BadInput> badOwnFiles();
QList<BadInput> badOutputs();
QList<BadInput> badArguments();

} // namespace espalier::test
