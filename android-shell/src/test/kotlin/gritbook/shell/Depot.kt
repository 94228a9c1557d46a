package gritbook.shell

import gritbook.core.Body
import gritbook.core.HttpMethod
import gritbook.core.Request
import gritbook.shell.carry.HttpCarrier
import java.io.File
import java.net.ServerSocket
import java.util.concurrent.TimeUnit
import org.json.JSONObject
import org.junit.rules.ExternalResource

/** A real depot, the program itself, in a process of its own on loopback. */
class Depot(private val tls: Boolean = false) : ExternalResource() {
    private val program = File(System.getProperty("gritbook.programs"), "gritbook")
    private val folder: File = File.createTempFile("depot", "").also { it.delete(); it.mkdirs() }
    private var process: Process? = null
    private val port = ServerSocket(0).use { it.localPort }
    val url = "${if (tls) "https" else "http"}://127.0.0.1:$port"

    /** SHA-256 of its key, as it said when it started; null where it speaks plain HTTP. */
    var key: String? = null
        private set

    val data get() = File(folder, "data")

    fun start() {
        val arguments = listOf(program.path, "depot", "--data", data.path, "--listen", "127.0.0.1:$port") + if (tls) listOf("--tls") else emptyList()
        val started = ProcessBuilder(arguments)
            .redirectError(File(folder, "depot.log")).start()
        process = started
        val said = started.inputStream.bufferedReader()
        val ready = said.readLine()
        check(ready == "depot ready at $url") { "the depot said: $ready; ${File(folder, "depot.log").readText()}" }
        if (tls) key = said.readLine().removePrefix("key sha256 ")
    }

    /** Stops it and takes its key away: the next start makes another. */
    fun loseKey() {
        stop()
        check(File(data, "tls/key.pem").delete())
    }

    /** Its entries, one page, as it gives them to a device. */
    fun entries(token: String): String {
        val answer = HttpCarrier(url, token, key).carry(Request(HttpMethod.GET, "/v1/entries?after=0&limit=500", emptyList(), Body.Empty))
        check(answer.status == 200.toUShort()) { answer.body.decodeToString() }
        return answer.body.decodeToString()
    }

    fun stop() {
        process?.destroy()
        process?.waitFor(10, TimeUnit.SECONDS)
        process = null
    }

    class Enrolled(val token: String, val code: String, val picture: File)

    fun enrol(name: String): Enrolled {
        val picture = File(folder, "enrol.png")
        val run = ProcessBuilder(program.path, "enroll", "--data", data.path, "--name", name, "--depot", url, "--qr", picture.path, "--json").start()
        val told = JSONObject(run.inputStream.bufferedReader().readText())
        check(run.waitFor() == 0) { told }
        return Enrolled(told.getString("token"), told.getString("code"), picture)
    }

    /** What another device of the shop does: the program's own book in a folder here. */
    fun otherDevice(vararg arguments: String) {
        val log = File(folder, "other.log")
        val run = ProcessBuilder(listOf(program.path, "book", File(folder, "other").path) + arguments).redirectErrorStream(true).redirectOutput(log).start()
        check(run.waitFor() == 0) { log.readText() }
    }

    /** Photos that the depot has whole, by what their bytes hash to. */
    fun photos(): List<String> = File(data, "photos").listFiles().orEmpty().filter { it.isFile }.map(Photos::sha256)

    override fun after() {
        stop()
        folder.deleteRecursively()
    }
}
