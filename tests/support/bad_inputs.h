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
    QList<QByteArray> words; // that must be in its line, each
    int mostLines = 1;       // on standard error
    std::map<QString, QString> environment = {};
    const char* output = nullptr; // standard output goes to this file instead
};

QList<BadInput> badObjects();
QList<BadInput> badRefs();
QList<BadInput> badSettings();
QList<BadInput> badFiles();
QList<BadInput> badArguments();

} // namespace espalier::test
