// SPDX-License-Identifier: MIT
//
// The picture of the house in DEVELOPERS.md: its arrows are those that the storeys are linked by, and every folder is in
// its table.
#include "tests/support/source_tree.h"

#include <QtTest/QtTest>

using namespace espalier::test;

class TestArrows : public QObject {
    Q_OBJECT

    using Arrows = QMap<QString, QStringList>; // a storey and what it stands on

    static Arrows ofTargets(const QString& house)
    {
        Arrows arrows;
        const QRegularExpression storey(QStringLiteral("^espalier_storey\\(%1 (\\w+)(?: ON ([\\w ]+))?\\)").arg(house),
                                        QRegularExpression::MultilineOption);
        for (auto at = storey.globalMatch(sourceText(house + QStringLiteral("/CMakeLists.txt"))); at.hasNext();) {
            const auto found = at.next();
            arrows[found.captured(1)] = found.captured(2).split(' ', Qt::SkipEmptyParts);
        }
        return arrows;
    }

    // "        merge       on tree" below the line that names the house.
    static Arrows printed(const QString& house)
    {
        Arrows arrows;
        bool here = false;
        const QStringList lines = sourceText(QStringLiteral("DEVELOPERS.md")).split('\n');
        for (const QString& line : lines) {
            if (line.startsWith(QStringLiteral("    core, ")) || line.startsWith(QStringLiteral("    app, ")))
                here = line.startsWith(QStringLiteral("    %1, ").arg(house));
            static const QRegularExpression row(QStringLiteral("^        (\\w+)(?: +on ([\\w ]+))?$"));
            if (const auto found = row.match(line); here && found.hasMatch())
                arrows[found.captured(1)] = found.captured(2).split(' ', Qt::SkipEmptyParts);
        }
        return arrows;
    }

  private Q_SLOTS:
    void picture_data()
    {
        QTest::addColumn<QString>("house");
        QTest::newRow("core") << QStringLiteral("core");
        QTest::newRow("app") << QStringLiteral("app");
    }
    void picture()
    {
        QFETCH(QString, house);
        const Arrows real = ofTargets(house);
        QVERIFY(real.size() >= 10);
        QCOMPARE(printed(house), real);
    }

    void everyFolderIsAStorey_data() { picture_data(); }
    void everyFolderIsAStorey()
    {
        QFETCH(QString, house);
        QSet<QString> folders;
        for (const SourceFile& file : sourceFiles({house}))
            if (file.path.count('/') > 1)
                folders.insert(file.path.section('/', 1, 1));
        const auto storeys = ofTargets(house).keys();
        QCOMPARE(folders, QSet<QString>(storeys.begin(), storeys.end()));
    }
};

QTEST_APPLESS_MAIN(TestArrows)
#include "test_arrows.moc"
